"""What becomes of accesses that a core has no register for."""

import pytest

from refmodel.ground.bus import WRITE_CONTROL
from refmodel.host.lacking import (
    FROM_MEMORY,
    TO_MEMORY,
    Lacking,
    MissingRegisterError,
    writing_waits,
)
from refmodel.host.processor import Processor
from refmodel.host.program import Read, Wait, Write
from refmodel.profile import load_profile

PAL = load_profile("pal_dd")


def made(program, **given):
    """Return the first cycle and kind of each access of a program, and what it returned."""
    processor = Processor(program, PAL, **given)
    found = []
    while processor.pending:
        found += [(b.cycle, b.kind, b.value) for b in processor.pending]
        processor.complete([0] * len(processor.pending))
    return found, processor.returned


@pytest.mark.parametrize("register", ["sync_word", "control"])
def test_access_left_out_takes_its_time(register):
    """Without the register the others come when they would come with it."""

    def program():
        yield Read("status", 5)
        yield Write(register, 3, 7)
        found = yield Read(register, 4)
        yield Read("status", 9)
        return found.word

    whole, returned = made(program())
    lacking = Lacking(frozenset({register}))
    part, left = made(program(), registers=("status",), lacking=lacking)
    assert part == [whole[0], whole[-1]]
    assert returned == left == 0


@pytest.mark.rest
def test_program_of_accesses_left_out_alone_ends():
    """A program that goes on for ever without an access ends with an error, not never."""

    def program():
        while True:
            yield Write("control", 1, 1)

    with pytest.raises(Exception, match="waits in a row without an access"):
        made(program(), registers=("status",), lacking=Lacking(frozenset({"control"})))


@pytest.mark.parametrize(
    ("program", "waits", "left_out"),
    [
        ("mixed_transfers", False, {"control", "transfer", "sync_word"}),
        ("read_by_transfer", False, {"control"}),
        ("rewrite_sync_word", False, {"control"}),
        ("step_through_control", True, {"control"}),
        ("step_through_control", False, set()),
        ("one_of_my_own", False, {"control"}),
    ],
)
def test_what_a_program_does_without(program, waits, left_out):
    """A program that stirs does without any register but status, others without control."""
    lacked = ("status", "sync_word", "transfer", "control")
    assert Lacking.of(program, lacked, waits=waits).left_out == left_out


@pytest.mark.parametrize(("way", "value"), [(TO_MEMORY, 0x8003), (FROM_MEMORY, 0xC003)])
def test_transfer_the_core_has_not(way, value):
    """A program that stirs lets it go the other way; for others it is missing."""
    stirring = Lacking.of("mixed_transfers", (), {way})
    write = Write("transfer", value, 2)
    assert stirring.of_transfer(write) == Write("transfer", value ^ 0x4000, 2)
    for other in (Write("transfer", value ^ 0x4000), Write("transfer", value & 0x7FFF)):
        assert stirring.of_transfer(other) == other
    with pytest.raises(MissingRegisterError, match=f"the core has no transfer {way}"):
        Lacking.of("read_by_transfer", (), {way}).of_transfer(write)


def test_level_is_written_with_the_next_access():
    """Each change of the level is written once, the last where several came; answers go through."""

    def program():
        first = yield Read("status", 10)
        yield Wait(100)
        second = yield Read("status", 10)
        return first.cycle, second.cycle

    changes = [(4, 1), (50, 0), (60, 1), (70, 0), (9000, 1)]
    found, returned = made(writing_waits(program(), changes, 0))
    written = [(cycle, value) for cycle, kind, value in found if kind == WRITE_CONTROL]
    assert [value for _, value in written] == [0x8001, 0x0001]
    assert [cycle for cycle, kind, _ in found if kind != WRITE_CONTROL] == list(returned)
