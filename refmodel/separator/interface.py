"""What every separator shares: a window as long as a channel bit that a clock walks through.

The phase is the place in the window, counted from its centre in fractions of a cycle
(1 / 2^fraction_bits), so that it is also the error of a pulse: below 0 it came early, above 0 late.
At each edge

1. the phase moves on by one cycle;
2. at half a `period` or beyond, the window is over: its channel bit is delivered in this cycle, 1
   if a pulse fell into it, and the phase goes back by `period`;
3. a pulse seen at this edge falls into the window that holds now, and the design corrects the
   phase, and perhaps the period, by its error.

After `coast_bits` windows without a pulse a separator coasts: what it then does with the period
is `coast`'s, and the next pulse becomes the centre of its window at once.

A design is a subclass with `correct`. Everything is a whole number, and division is a shift, so
that hardware can do the same to the bit.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from refmodel.ground.errors import UserError
from refmodel.ground.lane import Cycles

NEVER = 1 << 62


class Delivered(NamedTuple):
    """What a separator delivers in a cycle: `bit` is a new channel bit while `strobe` is 1."""

    strobe: int
    bit: int


@dataclass(frozen=True, eq=False)
class Followed:
    """How a separator followed pulses, one element a pulse.

    `window` counts the windows that ended up to the pulse's edge, `phase` is its error before it
    was corrected, `period` the period from then on.
    """

    window: Cycles
    phase: Cycles
    period: Cycles


class Separator:
    """A separator running from reset at edge 0, one edge a call of `step`.

    `leap` does the same from pulse to pulse. `cycles_per_bit` is the nominal length of a channel
    bit. The state: `cycle` the last edge stepped, `phase`, `period`, `seen` (a pulse fell into the
    window), `pulse_phase` (the error of the last pulse), `idle` (windows ended without a pulse in
    a row, up to `coast_bits`).
    """

    name = ""

    def __init__(
        self, cycles_per_bit: Fraction, fraction_bits: int, coast_bits: int = NEVER
    ) -> None:
        self.fraction_bits = fraction_bits
        self.nominal = nominal_period(cycles_per_bit, fraction_bits)
        self.coast_bits = coast_bits
        self.one = 1 << fraction_bits
        self.reset()

    def reset(self) -> None:
        """Go back to edge 0: nominal period, and coasting, so that the first pulse centres."""
        self.cycle = -1
        self.phase = 0
        self.period = self.nominal
        self.seen = 0
        self.pulse_phase = 0
        self.idle = self.coast_bits

    def correct(self, phase: int) -> int:
        """Return the phase after a pulse with the error `phase`; may change `period`."""
        raise NotImplementedError

    def coast(self) -> None:
        """Begin to coast: the last of `coast_bits` windows without a pulse has ended."""

    def step(self, pulse: int) -> Delivered:
        """Advance one edge; `pulse` is 1 at the edge the line is first seen active."""
        self.cycle += 1
        phase = self.phase + self.one
        strobe = 1 if 2 * phase >= self.period else 0
        bit = self.seen
        if strobe:
            phase -= self.period
            if not self.seen:
                self.window_without_pulse()
            self.seen = 0
        if pulse:
            phase = self.take_pulse(phase)
        self.phase = phase
        return Delivered(strobe, bit if strobe else 0)

    def window_without_pulse(self) -> None:
        """Count a window without a pulse."""
        if self.idle < self.coast_bits:
            self.idle += 1
            if self.idle == self.coast_bits:
                self.coast()

    def take_pulse(self, phase: int) -> int:
        """Take a pulse with the error `phase`; return the phase after it."""
        self.pulse_phase = phase
        self.seen = 1
        coasting = self.idle >= self.coast_bits
        self.idle = 0
        return 0 if coasting else self.correct(phase)


def nominal_period(cycles_per_bit: Fraction, fraction_bits: int) -> int:
    """Return a channel bit's length in 1 / 2^fraction_bits cycles, to the nearest whole one.

    Raises UserError for fewer than 4 cycles a bit: too few to tell early from late.
    """
    if cycles_per_bit < 4:
        raise UserError(
            f"separator: a channel bit is {float(cycles_per_bit):.4g} cycles long; 4 are the least"
        )
    return round(cycles_per_bit * (1 << fraction_bits))


def lock_limits(
    cycles_per_bit: Fraction, fraction_bits: int, lock_range_percent: float
) -> tuple[int, int]:
    """Return the shortest and longest period of a loop that may leave the nominal speed so far."""
    nominal = nominal_period(cycles_per_bit, fraction_bits)
    away = round(nominal * lock_range_percent / 100)
    return nominal - away, nominal + away
