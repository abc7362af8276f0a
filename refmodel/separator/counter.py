"""Separator `counter`: increments and decrements, no multiplication.

A pulse outside the dead zone around the window's centre moves the phase one step towards it, and
votes for a longer or a shorter period. When the votes of one side are `votes` ahead, the period
takes one step that way and the count starts again.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from refmodel.separator.interface import Separator


class Counts(NamedTuple):
    """The design's numbers, all but `votes` in 1 / 2^fraction_bits cycles."""

    fraction_bits: int
    phase_step: int
    dead_zone: int
    period_step: int
    votes: int
    shortest: int
    longest: int


class Counter(Separator):
    """Nudges phase and period by fixed steps; `ahead` is the votes for a longer period."""

    name = "counter"

    def __init__(self, cycles_per_bit: Fraction, counts: Counts) -> None:
        self.counts = counts
        super().__init__(cycles_per_bit, counts.fraction_bits)

    def reset(self) -> None:
        """Go back to edge 0 with no votes."""
        super().reset()
        self.ahead = 0

    def correct(self, phase: int) -> int:
        """Return the phase one step nearer to the centre, or as it is in the dead zone."""
        counts = self.counts
        if phase > counts.dead_zone:
            self._vote(1)
            return phase - counts.phase_step
        if phase < -counts.dead_zone:
            self._vote(-1)
            return phase + counts.phase_step
        return phase

    def _vote(self, late: int) -> None:
        """Count a late (1) or early (-1) pulse; change the period when one side has its votes."""
        self.ahead += late
        if self.ahead == self.counts.votes:
            self.period = min(self.period + self.counts.period_step, self.counts.longest)
            self.ahead = 0
        elif self.ahead == -self.counts.votes:
            self.period = max(self.period - self.counts.period_step, self.counts.shortest)
            self.ahead = 0
