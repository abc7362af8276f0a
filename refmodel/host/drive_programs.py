"""Host programs that move a drive: they select, step, wait, read and write through its lines.

Times are parameters in cycles, or in a scenario in microseconds: `step_time: 3000 us`. A drive's
own times are those of its profile, and what a scenario gives must not be shorter.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from typing import Any

from refmodel.block.arming import ENABLE, WRITE
from refmodel.block.control import SET, WAIT_FOR_SYNC
from refmodel.drive.cable import BACK
from refmodel.drive.register import LINES
from refmodel.ground.bus import DRIVE_LINES, DRIVE_STATUS
from refmodel.host.program import Access, Program, ProgramMaker, Read
from refmodel.host.program import Write as Put
from refmodel.host.programs import HostSector, read_sectors
from refmodel.host.transfer_programs import WORD_CYCLES, arm, until_done

Steps = Generator[Access, Any, Any]
PULSE, SETUP = 30, 30  # cycles: 4 us
STEP = 21_300  # 3 ms
SETTLE = 128_000  # 18 ms
SIDE = 720  # 101 us


class Panel:
    """The lines as the program has set them."""

    def __init__(self, cost: int) -> None:
        self._cost = cost
        self._word = 0
        self.inwards = 0

    def set(self, after: int = 0, **lines: int) -> Steps:
        """Set lines, some cycles after the access before."""
        for line, value in lines.items():
            bit = 1 << LINES.index(line)
            self._word = self._word | bit if value else self._word & ~bit
        yield Put(DRIVE_LINES, self._word, max(after, self._cost))

    def select(self, drive: int, after: int = 0) -> Steps:
        """Select a drive alone, its motor on."""
        lines = {f"select_{n}": int(n == drive) for n in range(4)}
        yield from self.set(after, motor=1, **lines)

    def look(self, line: str, after: int = 0) -> Steps:
        """Return what a line back shows."""
        status = yield Read(DRIVE_STATUS, max(after, self._cost))
        return status.word >> BACK.index(line) & 1

    def until(self, line: str, value: int, every: int) -> Steps:
        """Look at a line back until it has a value; return how often that took."""
        looks = 1
        while (yield from self.look(line, every)) != value:
            looks += 1
        return looks

    def step(self, inwards: int, step_time: int) -> Steps:
        """Make one step, a step time after the one before."""
        if inwards != self.inwards:
            self.inwards = inwards
            yield from self.set(direction=inwards)
        yield from self.set(max(step_time - PULSE, SETUP), step=1)
        yield from self.set(PULSE, step=0)

    def recalibrate(self, step_time: int, most: int = 90) -> Steps:
        """Step out until track zero shows; return how many steps that took."""
        for steps in range(most):
            if (yield from self.look("track_zero")):
                return steps
            yield from self.step(0, step_time)
        return most


def seek_and_recalibrate(
    drive: int = 0,
    to: int = 10,
    step_time: int = STEP,
    turn_round: int = SETTLE,
    cost: int = 50,
) -> Program:
    """Wait for ready, step in to a track and back out to track zero; return the steps back."""
    panel = Panel(cost)
    yield from panel.select(drive)
    yield from panel.until("ready", 1, 5000)
    for _ in range(to):
        yield from panel.step(1, step_time)
    yield from panel.look("track_zero", turn_round)
    return (yield from panel.recalibrate(step_time))


def count_index(drive: int = 0, turns: int = 2, every: int = 700, cost: int = 50) -> Program:
    """Count polls from index to index; return them, one number a revolution."""
    panel = Panel(cost)
    yield from panel.select(drive)
    yield from panel.until("ready", 1, 5000)
    yield from panel.until("index", 0, every)
    yield from panel.until("index", 1, every)
    counts = []
    for _ in range(turns):
        low = yield from panel.until("index", 0, every)
        counts.append(low + (yield from panel.until("index", 1, every)))
    return counts


def read_drives(
    drives: Sequence[int] = (0, 1, 2, 3),
    cylinder: int = 0,
    sectors: int = 1,
    step_time: int = STEP,
    settle: int = SETTLE,
    link_time: int = 0,
    cost: int = 32,
) -> Program:
    """Read some sectors of a cylinder from one drive after another; return what was found.

    After a select it waits `link_time` cycles for the lines to arrive.
    """
    panel = Panel(cost)
    yield Put("control", SET | WAIT_FOR_SYNC, cost)
    found = []
    for drive in drives:
        yield from panel.select(drive)
        yield from panel.until("ready", 1, max(link_time, 2000))
        for _ in range(cylinder):
            yield from panel.step(1, step_time)
        yield from panel.look("ready", max(link_time, settle if cylinder else 0))
        sectors_found: list[HostSector] = yield from read_sectors(sectors, cost)
        found.append([(s.cylinder, s.head, s.number, s.crc_ok) for s in sectors_found])
    return found


def format_and_read(
    drive: int = 0,
    cylinder: int = 1,
    side: int = 0,
    words: int = 6180,
    sectors: int = 9,
    step_time: int = STEP,
    settle: int = SETTLE,
    side_time: int = SIDE,
    tail: int = 1200,
    hold: int = 9000,
    cost: int = 32,
) -> Program:
    """Step to a track, write it whole from memory at the index, and read its sectors back.

    A protected disk is left alone. Memory holds the track's words from the index on.
    """
    panel = Panel(cost)
    yield from panel.select(drive)
    yield from panel.until("ready", 1, 5000)
    for _ in range(cylinder):
        yield from panel.step(1, step_time)
    yield from panel.set(settle, side=side)
    if (yield from panel.look("protect", side_time)):
        return "protected"
    yield from panel.until("index", 0, 200)
    yield from panel.until("index", 1, 60)
    yield from arm(ENABLE | WRITE | words, 2, cost)
    yield from until_done(cost, words * WORD_CYCLES)
    yield Put("transfer", 0, tail)
    yield Put("control", SET | WAIT_FOR_SYNC, hold)
    found: list[HostSector] = yield from read_sectors(sectors, cost)
    return [(s.cylinder, s.head, s.number, s.crc_ok) for s in found]


def swap_disk(
    drive: int = 0, step_time: int = STEP, settle: int = SETTLE, cost: int = 50
) -> Program:
    """Clear the change line by a step, wait until a disk is taken out, and for the next one.

    Returns how often it looked for the one and the other.
    """
    panel = Panel(cost)
    yield from panel.select(drive)
    yield from panel.until("ready", 1, 5000)
    yield from panel.step(1, step_time)
    yield from panel.until("change", 0, 2000)
    out = yield from panel.until("change", 1, 2000)
    looks = 0
    while (yield from panel.look("change")):  # a step clears it once a disk is in
        yield from panel.step(looks & 1, settle)
        looks += 1
    return out, looks


def write_after_select(
    first: int = 0,
    then: int = 1,
    gate_after: int = 850,
    words: int = 64,
    pause: int = 9000,
    link_time: int = 0,
    cost: int = 32,
) -> Program:
    """Select one drive, then another, and write at once: the hazard of a select that comes late."""
    panel = Panel(cost)
    yield from panel.select(first)
    yield from panel.until("ready", 1, max(link_time, 2000))
    yield from panel.look("ready", link_time)
    yield from panel.select(then, 5000)
    yield from arm(ENABLE | WRITE | words, 2, gate_after)
    yield from until_done(cost, words * WORD_CYCLES)
    yield Put("transfer", 0, pause)


def motor_off_and_on(
    drive: int = 0, off: int = 70_000, every: int = 2000, cost: int = 50
) -> Program:
    """Stop the motor for a while; return how often ready was looked at until it was up again."""
    panel = Panel(cost)
    yield from panel.select(drive)
    yield from panel.until("ready", 1, every)
    yield from panel.set(motor=0)
    yield from panel.until("ready", 0, every)
    yield from panel.set(off, motor=1)
    return (yield from panel.until("ready", 1, every))


def change_while_reading(
    first: int = 0, then: int = 1, reads: int = 2000, sectors: int = 1, cost: int = 32
) -> Program:
    """Select another drive in the middle of a read; return the sectors read after that."""
    panel = Panel(cost)
    yield Put("control", SET | WAIT_FOR_SYNC, cost)
    yield from panel.select(first)
    yield from panel.until("ready", 1, 2000)
    for _ in range(reads):
        yield Read("status", cost)
    yield from panel.select(then)
    found: list[HostSector] = yield from read_sectors(sectors, cost)
    return [(s.cylinder, s.head, s.number, s.crc_ok) for s in found]


def bump(drive: int = 0, steps: int = 3, step_time: int = STEP, cost: int = 50) -> Program:
    """Step out although track zero shows, as a host does that cannot see the line."""
    panel = Panel(cost)
    yield from panel.select(drive)
    yield from panel.until("ready", 1, 2000)
    for _ in range(steps):
        yield from panel.step(0, step_time)
    return (yield from panel.look("track_zero"))


DRIVE_PROGRAMS: dict[str, ProgramMaker] = {
    program.__name__: program
    for program in (
        bump,
        change_while_reading,
        count_index,
        format_and_read,
        motor_off_and_on,
        read_drives,
        seek_and_recalibrate,
        swap_disk,
        write_after_select,
    )
}
