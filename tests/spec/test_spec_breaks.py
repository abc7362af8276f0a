"""The examples catch a block that breaks a clause: each break fails an example of that clause."""

from dataclasses import replace
from typing import NamedTuple

import pytest
from spec_page import SPEC, read_page
from spec_play import play

from refmodel.block.registers import Inputs, RegisterBlock, State

PAGE = read_page(SPEC.read_text(encoding="utf-8"))


class Edge(NamedTuple):
    """One edge of the unbroken block: `sampled` at it and at the edge before, and the states."""

    earlier: Inputs
    sampled: Inputs
    before: State
    after: State

    @property
    def write_alone(self):
        """Whether sync_word is written between bits."""
        return self.sampled.write_sync_word and not self.sampled.bit_strobe


# Clause, what the broken block does, and the registers it gets wrong at an edge.
STATE_BREAKS = [
    (
        "B1",
        "shows the level of the edge before",
        lambda e: {"dma_active": e.earlier.dma_active},
    ),
    (
        "B2",
        "shifts in at the top",
        lambda e: (
            {"window": e.before.window >> 1 | e.sampled.bit << 15} if e.sampled.bit_strobe else {}
        ),
    ),
    (
        "B2",
        "repeats the last bit between bits",
        lambda e: {} if e.sampled.bit_strobe else {"window": e.before.window << 1 & 0xFFFF},
    ),
    (
        "B3",
        "latches sync_equal until a read",
        lambda e: {"sync_equal": 1} if e.before.sync_equal and not e.sampled.read_status else {},
    ),
    (
        "B3",
        "compares on channel bits alone",
        lambda e: {} if e.sampled.bit_strobe else {"sync_equal": e.before.sync_equal},
    ),
    (
        "B3",
        "compares a bit with sync_word from before the write",
        lambda e: (
            {"sync_equal": int(e.after.window == e.before.sync_word)}
            if e.sampled.bit_strobe
            else {}
        ),
    ),
    (
        "B3",
        "ignores the write of half a word",
        lambda e: (
            {"sync_word": e.before.sync_word} if e.sampled.write_sync_word in (0xFF00, 0xFF) else {}
        ),
    ),
    (
        "B4",
        "counts seven bits a byte",
        lambda e: {"bit_count": 7} if e.after.bit_count == 6 else {},
    ),
    (
        "B4",
        "realigns on a write between bits",
        lambda e: {"bit_count": 0} if e.write_alone and e.after.sync_equal else {},
    ),
    (
        "B4",
        "drops a byte that completes on the matching bit",
        lambda e: {"data": e.before.data, "byte_ready": 0} if e.after.sync_equal else {},
    ),
    (
        "B5",
        "never clears byte_ready",
        lambda e: {"byte_ready": e.before.byte_ready | e.after.byte_ready},
    ),
    (
        "B5",
        "clears byte_ready by itself",
        lambda e: {"byte_ready": 0} if e.before.byte_ready else {},
    ),
    (
        "B5",
        "keeps the first unread byte",
        lambda e: (
            {"data": e.before.data} if e.before.byte_ready and not e.sampled.read_status else {}
        ),
    ),
    ("B5", "takes data away with the read", lambda e: {"data": 0} if e.sampled.read_status else {}),
    ("B6", "ties dma_active to 0", lambda _: {"dma_active": 0}),
    (
        "B7",
        "shows writing only with dma_active",
        lambda e: {"writing": e.after.writing & e.after.dma_active},
    ),
    (
        "B14",
        "takes a write during reset",
        lambda e: {"sync_word": e.sampled.sync_word} if e.sampled.write_sync_word else {},
    ),
    (
        "B14",
        "shows the levels during reset",
        lambda e: {"dma_active": e.sampled.dma_active},
    ),
    (
        "B14",
        "leaves byte_ready alone in reset",
        lambda e: {"byte_ready": e.before.byte_ready} if e.sampled.reset else {},
    ),
]
# Clause, what the broken block does, and the status word it shows for a state.
STATUS_BREAKS = [
    ("B8", "shows the comparator in bit 8, too", lambda s, word: word | s.sync_equal << 8),
    ("B8", "keeps data in the low byte", lambda s, word: word & 0xFF00 | s.data),
]


def breaking_state(change):
    """Return a block that gets the registers in `change` of each edge wrong."""

    class Broken(RegisterBlock):
        earlier = Inputs()

        def _is_quiet(self, _):
            return False

        def _next_state(self, inputs):
            after = super()._next_state(inputs)
            edge = Edge(self.earlier, inputs, self.state, after)
            self.earlier = inputs
            return replace(after, **change(edge))

    return Broken


def breaking_status(change):
    """Return a block that shows a state as `change` does."""

    class Broken(RegisterBlock):
        def _status_of(self, state):
            return change(state, super()._status_of(state))

    return Broken


BREAKS = [(c, s, breaking_state(change)) for c, s, change in STATE_BREAKS]
BREAKS += [(c, s, breaking_status(change)) for c, s, change in STATUS_BREAKS]


def test_each_clause_is_broken():
    """There is a break for every clause that has a statement."""
    assert {clause for clause, _, _ in BREAKS} == set(PAGE.clauses)


@pytest.mark.parametrize(
    ("clause", "block"), [(c, b) for c, _, b in BREAKS], ids=[f"{c} {s}" for c, s, _ in BREAKS]
)
def test_break_fails_an_example_of_its_clause(clause, block):
    """A block that breaks one clause differs from at least one example of this clause."""
    examples = [example for example in PAGE.examples.values() if example.clause == clause]
    assert [e.name for e in examples if play(e, block).differences]


@pytest.mark.parametrize(
    "block",
    [breaking_state(lambda _: {}), breaking_status(lambda _, word: word)],
    ids=["state", "status"],
)
def test_unbroken_block_passes(block):
    """The wrappers that break blocks change nothing by themselves."""
    assert [e.name for e in PAGE.examples.values() if play(e, block).differences] == []
