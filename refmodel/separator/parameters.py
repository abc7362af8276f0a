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
    """The design without numbers but its resolution: 1 / 2^fraction_bits of a cycle."""

    fraction_bits: int = Key(4, ge=0, le=16)


class CounterPart(Schema):
    """Steps in 1 / 2^fraction_bits cycles; see `refmodel.separator.counter`."""

    fraction_bits: int = Key(4, ge=0, le=16)
    phase_step: int = Key(16, ge=1)
    dead_zone: int = Key(8, ge=0)
    period_step: int = Key(1, ge=1)
    votes: int = Key(2, ge=1, le=64)
    lock_range_percent: float = Key(8, gt=0, le=25)

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
    """Gains per pulse of a zero preamble, two channel bits apart; see `second_order`.

    Written as fractions such as `1/4`: multiples of 1/4096, so that hardware has them exactly.
    """

    kp: Fraction = Fraction(1, 4)
    ki: Fraction = Fraction(1, 32)
    fraction_bits: int = Key(12, ge=4, le=20)
    lock_range_percent: float = Key(8, gt=0, le=25)
    coast_bits: int = Key(16, ge=LONGEST_GAP, le=1_000_000)
    coast: Literal["hold", "nominal"] = "hold"

    @field_validator("kp", "ki", mode="before")
    @classmethod
    def _exact_gain(cls, value: object) -> Fraction:
        """Take a number or a fraction that hardware can hold."""
        gain = exact_number(value)
        if gain is None:
            raise ValueError(f"'{value}' is no gain, e.g. 1/4 or 0.25")
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
    """The designs' numbers; `use` names the one a profile's flux goes through.

    `clock_hz` is the separator's own clock, faster than the block's; without it both have one. Real
    parts run at 28 to 50 MHz beside a block of 7 MHz (common practice, no source).
    """

    use: SeparatorName = "second_order"
    clock_hz: Fraction | None = None
    follows_slow_bits: bool = True  # its windows take twice as long with control.slow_bits (B13)
    rephase: RephasePart = RephasePart()
    counter: CounterPart = CounterPart()
    second_order: SecondOrderPart = SecondOrderPart()

    @field_validator("clock_hz", mode="before")
    @classmethod
    def _exact_clock(cls, value: object) -> Fraction | None:
        return None if value is None else exact_frequency(value)
