"""Time in a drive: microseconds of a data sheet as cycles of the block's clock, and back."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil

LONG_AGO = -(1 << 60)  # a cycle before anything happened
NEVER = 1 << 60


@dataclass(frozen=True)
class Ticks:
    """A clock: times in microseconds as cycles of it."""

    clock_hz: Fraction

    def of(self, us: float | Fraction) -> int:
        """Return the cycles that last at least `us` microseconds."""
        return ceil(self.exactly(us))

    def exactly(self, us: float | Fraction) -> Fraction:
        """Return `us` microseconds in cycles, not rounded."""
        return Fraction(str(us)) * self.clock_hz / 1_000_000

    def us(self, cycles: int | float) -> float:
        """Return the length of so many cycles in microseconds."""
        return cycles * 1_000_000 / float(self.clock_hz)
