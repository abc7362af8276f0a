"""Which clause a mismatch is put down to, where more than one could be."""

from dataclasses import replace

import pytest

from refmodel.block.arming import ENABLE
from refmodel.block.control import SET, WAIT_FOR_SYNC
from refmodel.block.inputs import Inputs
from refmodel.block.registers import RegisterBlock
from refmodel.block.rules import Rules
from refmodel.engine.blame import Trail, clause_of
from refmodel.engine.compare import MEMORY, Mismatch, Observed
from refmodel.engine.edges import Edge
from refmodel.profile import load_profile

NOTHING = Observed({}, {})


@pytest.mark.parametrize(
    ("fifo_words", "moved", "clause"),
    [(3, 3, "B15"), (3, 4, "B10"), (8, 8, "B15"), (64, 65, "B10")],
)
def test_words_that_waited_are_the_gates(fifo_words, moved, clause):
    """A wrong word among those that can have waited while a gate was off is put down to B15."""
    profile = load_profile("pal_dd").model_copy(update={"fifo_words": fifo_words})
    trail = Trail(Rules.of(profile), moves_since_gates=moved, bits_since_start=500)
    wrong = Mismatch(1000, MEMORY, 0x4489, 0x4488, 0, 0, "slot")
    assert clause_of(wrong, trail, NOTHING) == clause


def done(trail):
    """Return the clause of a transfer_done that is up and should not be."""
    return clause_of(Mismatch(100, "transfer_done", 0, 1, 0, 0, "status"), trail, NOTHING)


def last_edge(**transfer):
    """Return a channel bit of an edge before which a transfer stood so."""
    block = RegisterBlock(load_profile("pal_dd"))
    before = replace(block.state, transfer=block.state.transfer._replace(**transfer))
    inputs = Inputs(bit_strobe=1)
    return Edge(90, inputs, (), before, before, 0, 0)


@pytest.mark.parametrize(
    ("transfer", "started", "clause"),
    [
        ({}, False, "B9"),  # none was accepted: the core has started by itself
        ({}, True, "B10"),
        ({"running": 1, "write": 1}, True, "B11"),  # no slot: no word has moved
        ({"running": 1}, True, "B10"),
        ({"done": 1}, True, "B12"),  # it is a pulse
    ],
)
def test_transfer_that_ends_too_early(transfer, started, clause):
    """What has ended must have begun; to the disk it ends in a slot."""
    trail = Trail(Rules.of(load_profile("pal_dd")), last=last_edge(**transfer), started=started)
    assert clause == done(trail)


def test_control_that_holds_nothing_is_not_to_blame():
    """A byte at the wrong bit is put down to B13 only once control has held something."""
    profile = load_profile("pal_dd")
    for control, clause in ((0, "B4"), (WAIT_FOR_SYNC, "B13")):
        block = RegisterBlock(profile)
        trail = Trail(Rules.of(profile))
        before = block.state
        block.step(Inputs(write_control=1, control=SET | control))
        trail.follow(Edge(5, Inputs(write_control=1), (), before, block.state, 0, 0))
        wrong = Mismatch(100, "byte_ready", 0, 1, 0, 0, "status")
        assert clause == clause_of(wrong, trail, NOTHING)


@pytest.mark.parametrize(
    ("words", "again", "observed", "clause"),
    [
        (0, False, 0, "B10"),  # a start of no words that does not end at once
        (0, True, 0, "B9"),  # it may be no start to the core
        (2, False, 1, "B10"),  # the core has taken it for one of no words
        (2, True, 0, "B9"),
    ],
)
def test_start_or_its_length(words, again, observed, clause):
    """On the edge of a start its length is to blame if the core shows that it has begun."""
    rules = Rules.of(load_profile("pal_dd"))
    state = RegisterBlock(load_profile("pal_dd")).state
    armed = replace(state, transfer=state.transfer._replace(armed=rules.arming_writes - 1))
    inputs = Inputs(write_transfer=1, transfer=ENABLE | words)
    edge = Edge(90, inputs, (), armed, armed, 0, 0)
    trail = Trail(rules, here=edge, last=edge, started=True, again=again)
    wrong = Mismatch(90, "transfer_done", 1 - observed, observed, 0, 0, "status")
    assert clause == clause_of(wrong, trail, NOTHING)


START_READ, START_WRITE, STOP = 0x8002, 0xC002, 0x0000


def blamed(edges, wrong):
    """Return the clause for what is wrong behind edges, each of `Inputs` as keywords."""
    block = RegisterBlock(load_profile("pal_dd"))
    trail = Trail(block.rules)
    for cycle, given in enumerate(edges):
        inputs, before, shown = Inputs(**given), block.state, block.status
        block.step(inputs)
        trail.follow(Edge(cycle, inputs, (), before, block.state, shown, block.status))
    trail.here = trail.last
    return clause_of(wrong, trail, NOTHING)


def started(value):
    """Return the edges that start a transfer."""
    return [{"write_transfer": 1, "transfer": value}] * 2


WORD = Mismatch(9, MEMORY, 0, 0x4489, 0, 0, "slot")
BITS = [{"bit_strobe": 1}] * 16


@pytest.mark.parametrize(
    ("edges", "clause"),
    [
        ([*started(START_READ), {"slot": 1}], "B10"),  # no word has come: one too many
        ([*started(START_WRITE), *[{"slot": 1}] * 4], "B11"),  # no room for a fourth
        ([*started(STOP), {"slot": 1}], "B9"),  # nothing runs
        ([*started(START_READ), *BITS, *started(START_READ), {"slot": 1}], "B9"),  # an old word
        (
            [
                *started(START_READ),
                *BITS,
                {"write_transfer": 1},
                *started(START_READ),
                {"slot": 1},
            ],
            "B9",
        ),
        (
            [
                *started(START_WRITE),
                {"slot": 1, "write_transfer": 1, "transfer": START_READ},
                {"slot": 1},
            ],
            "B9",  # the slot on the edge of the start was the old transfer's
        ),
    ],
)
def test_a_word_too_many_is_old_or_shows_that_the_transfer_has_started(edges, clause):
    """Where none is due, a word left over from before is B9, any other the transfer's own."""
    assert blamed(edges, WORD) == clause


@pytest.mark.parametrize(("new", "clause"), [(0x0001, "B4"), (0x1234, "B13")])
def test_a_bit_that_meets_a_write_of_sync_word_is_not_controls_fault(new, clause):
    """A byte framed wrongly is put down to control if that was written and no such bit came."""
    edges = [
        {"write_control": 1, "control": 0x8001},
        {"bit_strobe": 1, "bit": 1, "write_sync_word": 0xFFFF, "sync_word": new},
        {},
    ]
    wrong = Mismatch(9, "byte_ready", 0, 1, 0, 0, "status")
    assert blamed(edges, wrong) == clause


@pytest.mark.parametrize(("moved", "clause"), [(0, "B9"), (1, "B11")])
def test_words_written_though_none_has_moved(moved, clause):
    """A gate that opens before a slot of its transfer writes what the one before has left."""
    rules = Rules.of(load_profile("pal_dd"))
    trail = Trail(rules, last=last_edge(running=1, write=1), left_over=True)
    trail.moves_since_start = moved
    wrong = Mismatch(100, "write_gate", 0, 1, 0, 0, "status")
    assert clause == clause_of(wrong, trail, NOTHING)
