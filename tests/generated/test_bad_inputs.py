"""1 000 bad inputs over all commands: none is taken, each is told of in the user's terms.

A file that a command reads is broken, or something else stands in its place, or an option has an
odd value. 100 here, all with `make long`. tests/generated/bad_table.py COUNT SEED tries any number
and prints how they end; CELLSTEP_GENERATED_SEED chooses another seed.
"""

import os

import pytest
from bad_run import OPTION_EVERY, SEED, Bad, Desk, faults, left
from bad_slots import GOOD_WORDS, SLOTS, options_of
from break_place import PLACE_BREAKS
from generated_run import Workshop
from warm import REACHED, Ran

from refmodel.cli.main import COMMANDS
from testbenches.toolchain import available

FEW, MANY, AT_ONCE = 100, 1000, 20
OWN_SEED = int(os.environ.get("CELLSTEP_GENERATED_SEED", SEED))
pytestmark = pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog")


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    """Return a desk of good files, each case being one of them broken."""
    made = Desk(Workshop(tmp_path_factory.mktemp("bad"), short=True))
    yield made
    made.close()


def try_from(desk, first):
    """Try some cases, and tell of the first that is wrong."""
    for number in range(first, first + AT_ONCE):
        case = Bad(number, OWN_SEED)
        ran, found = desk.tried(case)
        assert [] == found, f"{case}\n{' '.join(case.words)}\n{ran.text[-3000:]}"


@pytest.mark.rest
@pytest.mark.parametrize("first", range(0, FEW, AT_ONCE))
def test_a_bad_input_is_told_of(desk, first):
    """Status 2 or 125, no traceback, a message with file, line and a way out, nothing left."""
    try_from(desk, first)


@pytest.mark.long
@pytest.mark.parametrize("first", range(FEW, MANY, AT_ONCE))
def test_many_bad_inputs_are_told_of(desk, first):
    """The same of all the others."""
    try_from(desk, first)


def test_every_command_and_slot_is_tried():
    """The 1 000 cases break every slot, give options to every command, and put all in place."""
    cases = [Bad(number, OWN_SEED) for number in range(MANY)]
    assert {*COMMANDS} == {*GOOD_WORDS} == {case.words[0] for case in cases}
    assert {*SLOTS} == {case.slot for case in cases if case.slot}
    assert {*PLACE_BREAKS} <= {case.how for case in cases}
    assert {*COMMANDS} == {case.words[0] for case in cases if not case.slot}


def test_options_are_those_of_the_command():
    """The options tried are read off the commands themselves."""
    assert {"--out", "--seed", "--sim", "--live", "--after"} <= {o for o, _ in options_of("run")}


@pytest.mark.long
def test_good_files_are_taken(desk):
    """Without a change each slot's command ends well or reaches a simulator: only bad is told."""
    for words in dict.fromkeys(slot.words for slot in SLOTS):
        ran = desk.good_run(words.split())
        undecided = ran.text.rpartition("\n\n")[2].startswith("undecided")
        assert ran.status in (0, 1, REACHED) or undecided, f"{words}\n{ran.text}"


BROKEN = next(
    case
    for case in (Bad(number, SEED) for number in range(MANY))
    if case.must_fail and case.slot and case.slot.kind == "plan"
)


@pytest.mark.parametrize(
    ("ran", "fault"),
    [
        (Ran(None, ""), "no end"),
        (Ran(0, ""), "taken for good"),
        (Ran(REACHED, ""), "taken for good"),
        (Ran(3, "plan.yaml:1: must not"), "exit status 3"),
        (Ran(2, "Traceback\nplan.yaml:1: must not"), "not for a user"),
        (Ran(125, "plan.yaml:1: must: internal error"), "not for a user"),
        (Ran(2, "plan.yaml:1: wrong"), "no way out is told"),
        (Ran(2, "something: should be other"), "plan.yaml is not told"),
        (Ran(2, "plan.yaml: key should be other"), "the line is not told"),
        (Ran(2, "plan.yaml:1: must not", seconds=31), "took 31 s"),
        (Ran(2, "plan.yaml:1: must not", memory=2 << 30), "took 0 s and 2048 MiB"),
    ],
)
def test_ends_that_are_faults(ran, fault):
    """Each thing that is promised of a bad input is missed when it is not kept."""
    assert any(found.startswith(fault) for found in faults(BROKEN, ran))


def test_what_is_left_is_a_fault():
    """A file written or changed by a command that then says no is found."""
    found = [*left({"old.txt": 1, "same": 1}, {"old.txt": 2, "same": 1, "new.txt": 1})]
    assert ["left new.txt", "changed old.txt"] == found


def test_an_end_that_is_right():
    """Place, what is wrong, and what would be right."""
    assert [] == [
        *faults(BROKEN, Ran(2, "plan.yaml:9:1: pins: a second key of this name; remove one"))
    ]
    assert BROKEN.number % OPTION_EVERY
