"""A profile's `separator` block: the numbers of each design, and which of them are stable."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal

from pydantic import Field as Key
from pydantic import field_validator, model_validator

from refmodel.ground.frequency import exact_frequency
from refmodel.ground.yamlfile import Schema, exact_number
from refmodel.separator.second_order import GAIN_BITS

SeparatorName = Literal["rephase", "counter", "second_order"]
LONGEST_GAP = 4  # channel bits between two transitions of MFM
STABLE = "stable while kp > 0, ki > 0 and 2 kp + ki < 4"


class RephasePart(Schema):
    """The separator that makes each pulse the centre of its window."""

    fraction_bits: int = Key(4, ge=0, le=16)
    """Its resolution is 1 / 2^fraction_bits of a cycle."""


class CounterPart(Schema):
    """The separator made of increments and decrements."""

    fraction_bits: int = Key(4, ge=0, le=16)
    """Its steps are 1 / 2^fraction_bits of a cycle."""
    phase_step: int = Key(16, ge=1)
    """How far a pulse outside the dead zone moves the window, in steps."""
    dead_zone: int = Key(8, ge=0)
    """How far from the middle a pulse may lie without a correction, in steps."""
    period_step: int = Key(1, ge=1)
    """How much the window's length changes at a time, in steps."""
    votes: int = Key(2, ge=1, le=64)
    """How many pulses on one side it takes to change the length."""
    lock_range_percent: float = Key(8, gt=0, le=25)
    """How far the length may differ from the nominal one."""

    @model_validator(mode="after")
    def _stable(self) -> CounterPart:
        """Refuse a period step whose drift a phase step cannot take back."""
        drift = LONGEST_GAP * self.period_step
        if self.phase_step <= drift:
            raise ValueError(
                f"unstable: phase_step {self.phase_step} must be above {LONGEST_GAP} x period_step"
                f" = {drift}, as the period acts over up to {LONGEST_GAP} channel bits between"
                " pulses; below that each correction is outrun by the one before"
            )
        return self


class SecondOrderPart(Schema):
    """A loop of second order, its gains per pulse of a zero preamble, two channel bits apart.

    Gains are multiples of 1/4096, so that hardware has them exactly; see `second_order`.
    """

    kp: Fraction = Fraction(1, 4)
    """The gain of the phase, per pulse: a multiple of 1/4096."""
    ki: Fraction = Fraction(1, 32)
    """The gain of the frequency, per pulse: a multiple of 1/4096."""
    fraction_bits: int = Key(12, ge=4, le=20)
    """Its resolution is 1 / 2^fraction_bits of a cycle."""
    lock_range_percent: float = Key(8, gt=0, le=25)
    """How far the length of a window may differ from the nominal one."""
    coast_bits: int = Key(16, ge=LONGEST_GAP, le=1_000_000)
    """It coasts after this many channel bits without a pulse."""
    coast: Literal["hold", "nominal"] = "hold"
    """What it does then: hold its speed, or go back to the nominal one."""

    @field_validator("kp", "ki", mode="before")
    @classmethod
    def _exact_gain(cls, value: object) -> Fraction:
        """Take a number or a fraction that hardware can hold."""
        gain = exact_number(value)
        if gain is None:
            raise ValueError(f"'{value}' is not a gain, e.g. 1/4 or 0.25")
        units = 1 << GAIN_BITS
        if (gain * units).denominator != 1:
            near = f"{round(gain * units)}/{units}"
            raise ValueError(f"'{value}' is not a multiple of 1/{units}; the nearest is {near}")
        return gain

    @model_validator(mode="after")
    def _stable(self) -> SecondOrderPart:
        """Refuse gains with which errors grow, or a speed error is never made up for."""
        kp, ki = self.kp, self.ki
        if kp <= 0 or ki <= 0:
            name, value = ("kp", kp) if kp <= 0 else ("ki", ki)
            raise ValueError(f"unstable: {name} {value} is not above 0; the loop is {STABLE}")
        if 2 * kp + ki >= 4:
            raise ValueError(
                f"unstable: kp {kp} and ki {ki} make 2 kp + ki = {2 * kp + ki};"
                f" the loop is {STABLE}"
            )
        if 2 * kp + 2 * ki >= 4:
            raise ValueError(
                f"unstable: between pulses {LONGEST_GAP} channel bits apart ki acts twice as long"
                f" as in a preamble, and 2 kp + 2 ki = {2 * kp + 2 * ki}; the loop is {STABLE}"
            )
        return self


class SeparatorPart(Schema):
    """The designs and their numbers."""

    use: SeparatorName = "second_order"
    """The separator that flux goes through."""
    clock_hz: Fraction | None = None
    """The separator's own clock in Hz, not below the block's; without it both have one. Real
    parts run at 28 to 50 MHz (common practice, no source)."""
    follows_slow_bits: bool = True
    """Its windows take twice as long with control.slow_bits (B13)."""
    rephase: RephasePart = RephasePart()
    """Numbers of the separator that restarts its window with each pulse."""
    counter: CounterPart = CounterPart()
    """Numbers of the separator that corrects phase and length in steps."""
    second_order: SecondOrderPart = SecondOrderPart()
    """Numbers of the separator with a loop of second order."""

    @field_validator("clock_hz", mode="before")
    @classmethod
    def _exact_clock(cls, value: object) -> Fraction | None:
        return None if value is None else exact_frequency(value)
