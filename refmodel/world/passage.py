"""What passes the head in each revolution of a disk, and what a write leaves for the next ones."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple, Protocol

import numpy as np

from refmodel.ground.lane import Cycles
from refmodel.ground.pulses import NO_PULSES, Pulses
from refmodel.ground.separated import SeparatedBits
from refmodel.media.flux import makes_edge, pulse_width
from refmodel.media.mfm import Bits
from refmodel.media.seeded import random_bytes
from refmodel.media.writing import Burst, Surface
from refmodel.separator import clocks, leap
from refmodel.world.captured import CapturedTrack
from refmodel.world.disk import Disk
from refmodel.world.flux_under_head import FluxUnderHead

NO_EDGES = np.empty(0, np.int64)
FOREVER = 1 << 62
ONE = Fraction(1)


class Passage(NamedTuple):
    """Channel bits of a revolution and the edges they arrive at; from flux also how that was."""

    cycle: Cycles
    bit: Bits
    pulses: Pulses = NO_PULSES
    separated: SeparatedBits | None = None


class Source(Protocol):
    """Where a disk's channel bits come from. Revolutions are asked for one by one, in order."""

    takes_writes: bool

    def turn(self, number: int) -> Passage:
        """Return what passes the head in a revolution, counted from 0."""

    def write(self, burst: Burst) -> None:
        """Lay down what was written, for later revolutions to read."""


def source_of(disk: Disk) -> Source:
    """Return the source of a disk: its tracks through an ideal separator, or flux through a model.

    Raises UserError, at the scenario's key, for flux that cannot be.
    """
    name = disk.separator
    return Tracks(disk) if name is None else FluxThroughModel(disk, name)


def surface_of(disk: Disk) -> Surface:
    """Return what the scenario says was written over its track before."""
    surface = Surface()
    for part in disk.scenario.written:
        bits = np.array([int(c) for c in part.bits if c != "_"], np.uint8)
        burst = Burst(part.first, part.first + len(bits) * part.bit_cycles, NO_EDGES)
        surface.write(burst, bits, part.bit_cycles, [0, int(disk.pace.cycles)])
    return surface


def lay_down(disk: Disk, surface: Surface, burst: Burst) -> None:
    """Put a burst's channel bits on a surface, where they were written."""
    bit_cycles = burst.bit_cycles(disk.profile.cycles_per_written_bit)
    turns = range(disk.pace.turn_at(burst.end, disk.start) + 2)
    begins = [disk.pace.begin(turn, disk.start) for turn in turns]
    surface.write(burst, burst.bits(bit_cycles), bit_cycles, begins)


class Tracks:
    """Channel bits as they lie on the tracks, each at the edge in which it ends."""

    takes_writes = True

    def __init__(self, disk: Disk) -> None:
        self._disk = disk
        self.surface = surface_of(disk)

    def turn(self, number: int) -> Passage:
        """Return the revolution, what has been written in place of what was there."""
        disk = self._disk
        cycles = disk.pace.arrivals(number, disk.start)
        bits = self._under_the_head(cycles, number)
        begin = disk.pace.begin(number, disk.start)
        passing = self.surface.under_the_head(cycles, bits, begin)
        return Passage(passing.cycle, passing.bit)

    def write(self, burst: Burst) -> None:
        """Lay the burst's channel bits down where they were written."""
        lay_down(self._disk, self.surface, burst)

    def _under_the_head(self, cycles: Cycles, turn: int) -> Bits:
        """Return the channel bits of a revolution; noise while the head is on its way."""
        disk = self._disk
        bits, drive = disk.track.bits, disk.drive
        for step, (at, track) in enumerate(drive.steps):
            first, still = np.searchsorted(cycles, (at, at + drive.settle)).tolist()
            bits = np.concatenate((bits[:first], (disk.track, *disk.tracks)[track].bits[first:]))
            noise = random_bytes(still - first, disk.seed, turn, step)
            bits[first:still] = np.frombuffer(noise, np.uint8) & 1
        return bits


class FluxThroughModel:
    """Channel bits as a separator model delivers them from the track's flux, on its own clock.

    A core with a separator of its own has one clock only, and gets the pulses on the line.
    """

    def __init__(self, disk: Disk, name: str) -> None:
        self.takes_writes = not isinstance(disk.track, CapturedTrack)
        self.surface = surface_of(disk)
        self._head = FluxUnderHead(disk, self.surface)
        profile = disk.profile if disk.pulse_cycles is None else disk.profile.on_one_clock()
        self._disk = disk
        self._separator = profile.make_separator(name, disk.scenario.slow_bits)
        self._ratio = profile.separator_clock_hz / profile.clock_hz
        self._on_line = self._pulses()
        self._seen = self._on_line if self._ratio == 1 else self._pulses(self._ratio)

    def turn(self, number: int) -> Passage:
        """Return what the separator makes of the revolution's pulses, and the pulses."""
        ratio, seen = self._ratio, next(self._seen)
        end = clocks.edge_of(self._disk.revolution_end(number), ratio)
        bits = clocks.crossed(leap.run(self._separator, seen.cycle, end), ratio)
        bits = bits.since(self._disk.start)
        return Passage(bits.cycle, bits.bit, seen if ratio == 1 else next(self._on_line), bits)

    def write(self, burst: Burst) -> None:
        """Lay the burst's pulses down where they were written."""
        if self.takes_writes:
            lay_down(self._disk, self.surface, burst)

    def _pulses(self, ratio: Fraction = ONE) -> Iterator[Pulses]:
        """Yield the pulses of each revolution, at edges of a clock `ratio` times the block's."""
        disk = self._disk
        width = disk.pulse_cycles or pulse_width(disk.profile.cycle_ns / ratio)
        before: int | None = None
        late, end = NO_PULSES, 0
        for turn in range(disk.scenario.revolutions):
            moments, bit = self._head.moments(turn)
            seen = np.ceil(moments * float(ratio)).astype(np.int64)
            if turn:  # a pulse with the index: the revolution before has taken that edge
                seen = np.maximum(seen, end)
            end = clocks.edge_of(disk.revolution_end(turn), ratio)
            edge = makes_edge(seen, width, before)
            before = int(seen[-1]) if len(seen) else before
            pulses = late.then(Pulses(seen[edge], bit[edge]))
            late, pulses = pulses.between(end, FOREVER), pulses.between(0, end)
            yield pulses
