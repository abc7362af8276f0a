"""Drives on a cable as the world of a run: what passes the head, span by span, and what acts back.

A span ends where anything changes by itself: an index pulse, a head that has settled, a line seen
through the link, a disk swapped. So within a span the lines back stand still.
"""

from __future__ import annotations

from collections import Counter
from copy import deepcopy
from functools import lru_cache
from pathlib import Path

import numpy as np

from refmodel.drive.bus import DriveBus, Head
from refmodel.drive.cable import BACK
from refmodel.drive.link import LinkedDrives
from refmodel.drive.mechanism import Inserted, Shows
from refmodel.drive.rules import Violation
from refmodel.drive.ticks import NEVER, Ticks
from refmodel.drive.write_rules import WriteSeen
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.stimulus import Stimulus
from refmodel.media.mfm import Bits
from refmodel.media.seeded import random_bytes
from refmodel.media.writing import Burst, Surface, WriteHead
from refmodel.world.disk import Disk
from refmodel.world.drive_faults import check_rates
from refmodel.world.drive_setup import DriveSetup
from refmodel.world.sources import Sources

NOISE = (Shows.SPINNING_UP, Shows.SETTLING, Shows.SEVERAL)
READS = (Shows.DATA, Shows.WRITING)  # what is under the head is read until it is written over
BLOCK = 4096  # bits of noise drawn at once
SPANS_A_TURN = 4  # at least, so that a live run never waits long for what it has written
Place = tuple[int, int, int]  # drive, cylinder, side


class Cabled:
    """The drives of a scenario: `span` lays out what comes next, `take` what the core did in it."""

    def __init__(self, disk: Disk, folder: Path) -> None:
        setup = disk.scenario.drives
        assert setup is not None, "a scenario without drives has a disk that turns by itself"
        check_rates(disk, setup, folder)
        self._disk = disk
        ticks = Ticks(disk.profile.clock_hz)
        units = {u.select: u.mechanism(folder, ticks, disk.seed) for u in setup.units}
        self.bus = DriveBus(units, ticks)
        self.link = LinkedDrives(self.bus, setup.link) if setup.link else None
        self._sources = Sources(disk, setup, folder, ticks)
        self._surfaces: dict[Place, Surface] = {}
        self._head = WriteHead()
        self._swaps = _swaps_of(setup, ticks)
        self._gate_held = setup.gate_held
        if setup.gate_held:
            self._side().put(0, "write_gate", 1)
        self._first = 0
        self._landed = 0  # of the stretches written: laid down so far

    @property
    def violations(self) -> list[Violation]:
        """The rules broken so far."""
        return self.bus.violations

    @property
    def lost_pulses(self) -> dict[str, int]:
        """How many pulses of each line a link has lost so far: they never were on the cable."""
        return dict(Counter(line for _, line in self.link.lost)) if self.link is not None else {}

    @property
    def over(self) -> bool:
        """Whether the run has ended."""
        return self._first >= self._disk.cycles

    def span(self, most: int = NEVER) -> Stimulus:
        """Return what comes from the end of the last span on, without host accesses.

        It ends at cycle `most` at the latest, where whoever asks knows that it will be cut.
        """
        disk, first = self._disk, self._first
        self._catch_up(first)
        end = disk.start if first < disk.start else min(self._end(first), max(most, first + 1))
        cycle, bit = self._passing(first, end)
        back = {line: self._side().lane(line)[-1][1] for line in BACK}
        return Stimulus(
            first,
            end - first,
            bit_cycle=cycle,
            bit=bit,
            resets=((0, disk.start),) if first < disk.start else (),
            reset_before=int(first == disk.start),
            memory=disk.memory,
            back={line: Lane.constant(value, first) for line, value in back.items()},
        )

    def take(self, end: int, lines: dict[str, Lane]) -> None:
        """Take what the core did on its lines up to cycle `end`; drives see it an edge later."""
        events = [
            (cycle + 1, line, value)
            for line, lane in lines.items()
            for cycle, value in zip(lane.cycle.tolist(), lane.value.tolist(), strict=True)
        ]
        for cycle, line, value in sorted(events):
            self._catch_up(cycle)
            if line != "write_gate" or not self._gate_held:
                self._side().put(cycle, line, value)
        if "write_gate" in lines:
            for burst in self._head.take(lines["write_gate"], lines["write_data"], end):
                self._lay_down(burst)
        self._first = end

    def finish(self) -> None:
        """End the run: judge what is still open."""
        self._side().finish(max(self._first, self.bus.now))

    def place(self, cycle: int) -> str:
        """Say whose track is under the head in a cycle."""
        head = next((h for h in reversed(self.bus.heads) if h.cycle <= cycle), self.bus.heads[0])
        if head.drive is None:
            return f"no drive ({head.shows.value})"
        at = f"drive {head.drive}, cylinder {head.cylinder}, side {head.side}"
        return at if head.shows is Shows.DATA else f"{at} ({head.shows.value})"

    # -- time ------------------------------------------------------------------------------------

    def _side(self) -> DriveBus | LinkedDrives:
        """Return what the core's lines lead to."""
        return self.link or self.bus

    def _catch_up(self, cycle: int) -> None:
        """Let happen what happens by itself up to a cycle, swaps among it."""
        while self._swaps and self._swaps[0][0] <= cycle:
            at, number, disk = self._swaps.pop(0)
            self._side().advance(at)
            self.bus.insert(at, number, disk)
        self._side().advance(cycle)

    def _end(self, first: int) -> int:
        """Return where the span that begins at `first` ends."""
        most = first + int(min(d.turn for d in self.bus.drives.values())) // SPANS_A_TURN
        ends = [most, self._disk.cycles, *(at for at, _, _ in self._swaps[:1])]
        ends += [at for at in self._sources.switches if at > first][:1]
        ends += [drive.next_event for drive in self.bus.drives.values()]
        end = min(at for at in ends if at > first)
        return self._seen_changes(first, end) if self.link else end

    def _seen_changes(self, first: int, end: int) -> int:
        """Return when a line seen through the link next changes, or reaches the drives."""
        assert self.link is not None
        ahead = deepcopy(self.link)
        before = _shown(ahead)
        at = first
        while (at := ahead.next_event) < end:
            ahead.advance(at)
            if _shown(ahead) != before:
                return at if at > first else first + 1
        return end

    # -- what passes the head --------------------------------------------------------------------

    def _passing(self, first: int, end: int) -> tuple[Cycles, Bits]:
        """Return the channel bits of a span, and the edges at which they arrive."""
        head = self.bus.heads[-1]
        first = max(first, self._disk.start)
        if head.shows in NOISE:
            return self._noise(first, end)
        if head.shows not in READS or head.drive is None or end <= first:
            return np.empty(0, np.int64), np.empty(0, np.uint8)
        return self._data(head, head.drive, first, end)

    def _noise(self, first: int, end: int) -> tuple[Cycles, Bits]:
        """Return random channel bits of nominal length."""
        every = self._disk.profile.cycles_per_bit
        numbers = np.arange(int(first / every), int(end / every) + 2)
        cycles = np.ceil(numbers * float(every)).astype(np.int64)
        inside = (cycles >= first) & (cycles < end)
        cycles = cycles[inside]
        return cycles, self._noise_bits(numbers[inside])

    def _noise_bits(self, numbers: Cycles) -> Bits:
        """Return random bits by their number, the same however a run is cut into spans."""
        if not len(numbers):
            return np.empty(0, np.uint8)
        first, last = int(numbers[0]) // BLOCK, int(numbers[-1]) // BLOCK
        drawn = [_noise_block(self._disk.seed, block) for block in range(first, last + 1)]
        return np.concatenate(drawn)[numbers - first * BLOCK]

    def _data(self, head: Head, number: int, first: int, end: int) -> tuple[Cycles, Bits]:
        """Return a track's channel bits, what was written on it in place of what was there."""
        rotation = self.bus.drives[number].rotation
        track = self._sources.track(number, head.cylinder, head.side, first)
        counted, cycles = rotation.arrivals(len(track), first, end)
        bits = track.bits[counted % len(track)]
        surface = self._surfaces.get((number, head.cylinder, head.side))
        if surface is None:
            return cycles, bits
        turns = counted // len(track)
        parts_cycle, parts_bit = [], []
        for turn in np.unique(turns).tolist():
            here = turns == turn
            begin = rotation.reaches(turn)
            passing = surface.under_the_head(cycles[here], bits[here], begin)
            until = rotation.reaches(turn + 1)
            inside = (passing.cycle >= max(first, begin)) & (passing.cycle < min(end, until))
            parts_cycle.append(passing.cycle[inside])
            parts_bit.append(passing.bit[inside])
        return np.concatenate(parts_cycle), np.concatenate(parts_bit)

    # -- what is written -------------------------------------------------------------------------

    def _lay_down(self, burst: Burst) -> None:
        """Lay a write down on every track it went over."""
        bit_cycles = burst.bit_cycles(self._disk.profile.cycles_per_written_bit)
        bits = burst.bits(bit_cycles)
        for written in self.bus.written[self._landed :]:
            if not written.refused:
                self._on_track(written, burst, bits, bit_cycles)
        self._landed = len(self.bus.written)

    def _on_track(self, written: WriteSeen, burst: Burst, bits: Bits, bit_cycles: int) -> None:
        """Lay down the part of a burst that went over one track."""
        first, end = max(burst.first, written.first - 1), min(burst.end, written.end)
        skipped = -(-(first - burst.first) // bit_cycles)
        count = (end - burst.first) // bit_cycles - skipped
        part = bits[skipped : skipped + max(count, 0)]
        begin = burst.first + skipped * bit_cycles
        rotation = self.bus.drives[written.drive].rotation
        turn = int(np.floor(rotation.angle(begin)))
        begins = [rotation.reaches(turn + n) for n in range(4)]
        place = (written.drive, written.cylinder, written.side)
        surface = self._surfaces.setdefault(place, Surface())
        surface.write(Burst(begin, end, burst.pulses), part, bit_cycles, begins)


@lru_cache(maxsize=8)
def _noise_block(seed: int, number: int) -> Bits:
    """Return a block of random bits."""
    return np.asarray(np.frombuffer(random_bytes(BLOCK, seed, number), np.uint8) & 1, np.uint8)


def _swaps_of(setup: DriveSetup, ticks: Ticks) -> list[tuple[int, int, Inserted | None]]:
    """Return when which drive's disk changes, in order."""
    found = [
        (ticks.of(s.at_us), unit.select, Inserted(s.protected) if s.disk == "in" else None)
        for unit in setup.units
        for s in unit.swaps
    ]
    return sorted(found, key=lambda swap: swap[:2])


def _shown(link: LinkedDrives) -> tuple[object, ...]:
    """Return what the core sees and what is under the head, to tell whether it changes."""
    return *(link.lane(line)[-1] for line in BACK), link.drives.heads[-1]
