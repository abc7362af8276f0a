"""How a host gets onto the bus, and what a program sees of time and of the drive."""

from fractions import Fraction

import pytest

from refmodel.drive.lines import DriveLines
from refmodel.ground.errors import UserError
from refmodel.host.machine import Machine, Timing
from refmodel.host.processor import Processor, Unfinished
from refmodel.host.program import Read, Wait
from refmodel.profile import load_profile

PAL = load_profile("pal_dd")


def cycles_of(timing, costs):
    """Return the cycles the reads of a program fall on."""

    def program():
        for cost in costs:
            yield Read("status", cost)

    processor = Processor(program(), PAL, machine=Machine(timing))
    found = []
    while processor.pending:
        found.append(processor.pending[0].cycle)
        processor.complete([0])
    return found


@pytest.mark.parametrize(
    ("timing", "costs", "cycles"),
    [
        (Timing(), [5, 7], [5, 12]),
        (Timing(cost_factor=Fraction(4, 3)), [6, 7], [8, 18]),  # 9.33 is rounded up
        (Timing(cost_factor=Fraction(1, 8)), [1, 1], [1, 2]),
        (Timing(align=4), [5, 4, 1], [8, 12, 16]),
        (Timing(busy=2, busy_every=8), [8, 6, 1], [10, 18, 19]),
        (Timing(align=2, busy=3, busy_every=8), [8, 2], [12, 14]),
    ],
)
def test_accesses_fall_where_the_bus_lets_them(timing, costs, cycles):
    """Pace, alignment and contention place each access, one after the other."""
    assert cycles_of(timing, costs) == cycles


def test_a_bus_that_is_never_free_is_an_error():
    """Alignment and contention that leave no cycle are reported, not waited for."""
    with pytest.raises(UserError, match="the host never gets onto the bus"):
        cycles_of(Timing(align=4, busy=1, busy_every=4), [1])


def test_a_read_tells_its_cycle():
    """What a program reads carries the cycle of the access, waits included."""

    def program():
        yield Wait(100)
        first = yield Read("status", 10)
        second = yield Read("status", 10)
        return first.cycle, second.cycle

    processor = Processor(program(), PAL)
    while processor.pending:
        processor.complete([0])
    assert processor.returned == (110, 120)


def test_the_drive_is_read_without_the_core():
    """A read of the drive takes its time, makes no bus cycle, and shows the index line."""

    def program():
        drive = yield Read("drive", 10)
        while not drive.index:
            drive = yield Read("drive", 10)
        return drive.cycle

    machine = Machine(drive=DriveLines((95,), 30, 1000))
    processor = Processor(program(), PAL, machine=machine)
    assert processor.pending == []
    assert processor.returned == 100


def test_watching_the_drive_ends_with_the_run():
    """A program that looks at the drive for ever is stopped where the run ends."""

    def program():
        while True:
            yield Read("drive", 10)

    processor = Processor(program(), PAL, machine=Machine(drive=DriveLines((), 1, 1000)))
    assert (processor.pending, processor.ended) == ([], False)


def test_without_a_drive_there_is_nothing_to_look_at():
    """A read of the drive where there is none is the user's error."""

    def program():
        yield Read("drive", 10)

    with pytest.raises(UserError, match="there is no drive here"):
        Processor(program(), PAL)


def test_the_limit_of_accesses_stops_a_program():
    """At the limit the program is closed, and its last four accesses are kept."""

    def program():
        while True:
            yield Read("status", 10)

    processor = Processor(program(), PAL, machine=Machine(limit=6))
    while processor.pending:
        processor.complete([0x8055])
    told = processor.returned
    assert isinstance(told, Unfinished)
    assert told.accesses == 6
    assert [(cycle, word) for cycle, _, word in told.recent] == [
        (30, 0x8055),
        (40, 0x8055),
        (50, 0x8055),
        (60, 0x8055),
    ]


@pytest.mark.parametrize("cost", [0, -3])
def test_costs_below_one_cycle_are_refused(cost):
    """An access takes at least one cycle; a negative cost is refused, with what was yielded."""

    def program():
        yield Read("status", cost)

    with pytest.raises(UserError, match=rf"cost={cost}\): cost must be 1 cycle or more"):
        Processor(program(), PAL)
