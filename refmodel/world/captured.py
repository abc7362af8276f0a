"""A captured track as a scenario's disk: the revolutions that were read, one after the other."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.lane import Cycles
from refmodel.ground.pulses import NO_BIT
from refmodel.media.flux import Flux
from refmodel.media.overlay import NOWHERE
from refmodel.media.track import Place, Track
from refmodel.world.revolutions import Turns


@dataclass(frozen=True, eq=False)
class CapturedTrack(Track):
    """A track as it was read: `bits` are what most revolutions show, `turns` each revolution.

    A run of more revolutions than were captured begins anew with the first.
    """

    turns: Turns

    @classmethod
    def of(cls, turns: Turns, places: tuple[Place, ...] = ()) -> CapturedTrack:
        """Return the track of captured revolutions, the places on it named."""
        return cls(turns.overlay.bits, places or (Place("captured track", 0, unit="word"),), turns)

    def flux(self, turn: int) -> Flux:
        """Return the pulses of a revolution, in ns from its index pulse."""
        revolution = self.turns.revolutions[turn % len(self.turns.revolutions)]
        numbered = self.turns.pulse_bits(turn % len(self.turns.revolutions))
        known = numbered != NOWHERE
        bit = np.where(known, turn * len(self) + numbered, NO_BIT)
        return Flux(revolution.pulse_ns.copy(), bit, 0.0, revolution.length_ns)


@dataclass(frozen=True)
class CapturedPace:
    """When the channel bits of captured revolutions pass the head; it answers as `Pace` does."""

    track: CapturedTrack
    clock_hz: Fraction

    @cached_property
    def lengths(self) -> tuple[Fraction, ...]:
        """Length of each captured revolution in cycles."""
        hz = self.clock_hz / 1_000_000_000
        return tuple(Fraction(r.length_ns) * hz for r in self.track.turns.revolutions)

    @property
    def cycles(self) -> Fraction:
        """Length of a revolution in cycles, on average."""
        return sum(self.lengths, Fraction(0)) / len(self.lengths)

    @property
    def bits(self) -> int:
        """How many channel bits a revolution has."""
        return len(self.track)

    def begin(self, turn: int, start: int = 0) -> int:
        """Return the cycle in which revolution `turn` begins, at the index."""
        rounds, rest = divmod(turn, len(self.lengths))
        return start + int(rounds * sum(self.lengths) + sum(self.lengths[:rest]))

    def turn_at(self, cycle: int, start: int = 0) -> int:
        """Return which revolution the disk is in, from 0 on, which it also is before its start."""
        rounds = max(0, int((cycle - start) / sum(self.lengths)))
        first = rounds * len(self.lengths)
        begins = [self.begin(first + n, start) for n in range(len(self.lengths))]
        return max(0, first + bisect_right(begins, cycle) - 1)

    def fitting(self, cycles: int) -> int:
        """Return how many whole revolutions fit into so many cycles."""
        turn = self.turn_at(cycles)
        return turn if cycles >= self.begin(turn) else 0

    def arrivals(self, turn: int, start: int = 0) -> Cycles:
        """Return the cycle in which each channel bit of revolution `turn` ends.

        It is that of the revolution as it was read; a bit that one has not lies between others.
        """
        which = turn % len(self.lengths)
        revolution, at = self.track.turns.revolutions[which], self.track.turns.overlay.at[which]
        ends = np.append(
            (revolution.middle_ns[1:] + revolution.middle_ns[:-1]) / 2, revolution.length_ns
        )
        known = np.flatnonzero(at != NOWHERE)
        ns = np.interp(np.arange(len(at)), known, ends[at[known]])
        cycles = self.begin(turn, start) + np.floor(ns * float(self.clock_hz) / 1e9)
        return np.asarray(cycles).astype(np.int64)

    def times(self, position: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return when places of the first revolution, in channel bits, pass the head, in cycles."""
        ends = np.concatenate(([0], self.arrivals(0)))
        return np.interp(position, np.arange(len(ends)), ends)
