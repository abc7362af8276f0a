"""How long each channel bit of a revolution is: regions of long or short cells, and drive speed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from pydantic import Field as Key

from refmodel.ground.errors import UserError
from refmodel.ground.yamlfile import Schema
from refmodel.media.strobes import strobe_cycles

RAMP_BITS = 16


class Stretch(Schema):
    """A density region: cells longer or shorter than nominal."""

    first_bit: int = Key(0, ge=0)
    """Its first channel bit."""
    bits: int | None = Key(None, ge=1)
    """How many; without it to the track's end."""
    percent: float = Key(ge=-40, le=100)
    """How much longer its cells are; below 0 they are shorter."""
    to_percent: float | None = Key(None, ge=-40, le=100)
    """The length goes evenly from `percent` to this, in steps of 16 bits."""

    def end(self, track_bits: int) -> int:
        """Return the first channel bit behind it."""
        return track_bits if self.bits is None else self.first_bit + self.bits

    def steps(self, track_bits: int) -> Iterator[tuple[int, int, Fraction]]:
        """Yield first bit, end and percentage of its parts, in each of which cells are equal."""
        first, end = self.first_bit, self.end(track_bits)
        whole = Fraction(str(self.percent))
        if self.to_percent is None:
            yield first, end, whole
            return
        starts = range(first, end, RAMP_BITS)
        rise = Fraction(str(self.to_percent)) - whole
        for n, start in enumerate(starts):
            along = Fraction(n, max(len(starts) - 1, 1))
            yield start, min(start + RAMP_BITS, end), whole + along * rise

    def fault(self, track_bits: int) -> str:
        """Say what is wrong with it on a track of so many channel bits; nothing if it fits."""
        if self.first_bit < track_bits and self.end(track_bits) <= track_bits:
            return ""
        return (
            f"the region of channel bits {self.first_bit} .. {self.end(track_bits) - 1} lies beyond"
            f" the track, whose last is {track_bits - 1}"
        )


class Segment(NamedTuple):
    """A part of a revolution in which all channel bits are equally long, in cycles."""

    first_bit: int
    bits: int
    cycles_per_bit: Fraction
    begins: Fraction  # after this many cycles of the revolution


@dataclass(frozen=True)
class Pace:
    """The channel bits of a revolution in time: exact, so that nothing drifts over revolutions."""

    segments: tuple[Segment, ...]

    @classmethod
    def of(
        cls,
        bits: int,
        cycles_per_bit: Fraction,
        regions: Sequence[Stretch] = (),
        speed_percent: float = 0,
    ) -> Pace:
        """Return the pace of a track of `bits` channel bits on a drive that is so much too fast.

        Raises UserError for regions that overlap or lie beyond the track.
        """
        ordered = sorted(regions, key=lambda r: r.first_bit)
        for region in ordered:
            if fault := region.fault(bits):
                raise UserError(f"density: {fault}")
        for one, other in pairwise(ordered):
            if other.first_bit < one.end(bits):
                raise UserError(f"density: two regions share channel bit {other.first_bit}")
        nominal = cycles_per_bit / (1 + Fraction(str(speed_percent)) / 100)
        parts: list[tuple[int, int, Fraction]] = []
        at = 0
        for region in ordered:
            parts.append((at, region.first_bit, Fraction(0)))
            parts += region.steps(bits)
            at = region.end(bits)
        parts.append((at, bits, Fraction(0)))
        segments, begins = [], Fraction(0)
        for first, end, percent in parts:
            if first < end:
                length = nominal * (1 + percent / 100)
                segments.append(Segment(first, end - first, length, begins))
                begins += (end - first) * length
        return cls(tuple(segments))

    @property
    def cycles(self) -> Fraction:
        """Length of a revolution in cycles."""
        last = self.segments[-1]
        return last.begins + last.bits * last.cycles_per_bit

    def arrivals(self, turn: int, start: int = 0) -> NDArray[np.int64]:
        """Return the cycle in which each channel bit of revolution `turn` arrives."""
        return np.concatenate(
            [
                strobe_cycles(0, s.bits, s.cycles_per_bit, start, turn * self.cycles + s.begins)
                for s in self.segments
            ]
        )

    def begin(self, turn: int, start: int = 0) -> int:
        """Return the cycle in which revolution `turn` begins, at the index."""
        return start + int(turn * self.cycles)

    def turn_at(self, cycle: int, start: int = 0) -> int:
        """Return which revolution the disk is in, from 0 on, which it also is before its start."""
        return max(0, int((cycle - start) / self.cycles))

    def fitting(self, cycles: int) -> int:
        """Return how many whole revolutions fit into so many cycles."""
        return int(cycles / self.cycles)

    def times(self, position: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return when places of the revolution, in channel bits, pass the head, in cycles."""
        bits = [*(float(s.first_bit) for s in self.segments), float(self.bits)]
        cycles = [*(float(s.begins) for s in self.segments), float(self.cycles)]
        return np.interp(position, bits, cycles)

    @property
    def bits(self) -> int:
        """How many channel bits a revolution has."""
        return self.segments[-1].first_bit + self.segments[-1].bits
