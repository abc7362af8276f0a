"""Separator `second_order`: a loop with a proportional and an integral part, in fixed point.

Per pulse with the error e, v = v + ki e and the windows move by kp e + v until the next pulse
(a type-2 loop sampled once a pulse). v is the change of the period over the two channel bits that
lie between the pulses of a zero preamble, so the period changes by ki e / 2.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from refmodel.separator.interface import NEVER, Separator

GAIN_BITS = 12


class Gains(NamedTuple):
    """The loop's numbers as hardware holds them.

    The phase changes by e * kp / 2^12 and the period by e * ki / 2^13, rounded down; the period
    stays in `shortest` .. `longest`.
    """

    fraction_bits: int
    kp: int
    ki: int
    shortest: int
    longest: int
    coast_bits: int = NEVER
    coast_nominal: bool = False


class SecondOrder(Separator):
    """Moves the phase by a part of each error, and the period by a smaller part.

    After `coast_bits` windows without a pulse the period is held, or with `coast_nominal` goes
    back to the nominal one.
    """

    name = "second_order"

    def __init__(self, cycles_per_bit: Fraction, gains: Gains) -> None:
        self.gains = gains
        super().__init__(cycles_per_bit, gains.fraction_bits, gains.coast_bits)

    def correct(self, phase: int) -> int:
        """Return the phase less kp of it; add ki / 2 of it to the period, within the limits."""
        gains = self.gains
        period = self.period + (phase * gains.ki >> GAIN_BITS + 1)
        if period < gains.shortest:
            period = gains.shortest
        elif period > gains.longest:
            period = gains.longest
        self.period = period
        return phase - (phase * gains.kp >> GAIN_BITS)

    def coast(self) -> None:
        """Go back to the nominal period if the profile says so."""
        if self.gains.coast_nominal:
            self.period = self.nominal
