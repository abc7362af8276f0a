"""Times that any clock can keep: text such as `2.25 bits` or `300 us` in place of cycles."""

from __future__ import annotations

import re
from fractions import Fraction

_FORM = re.compile(r"([0-9]{1,12}(?:\.[0-9]{1,9})?) (bits|us)")


def is_duration(value: object) -> bool:
    """Tell whether a value of a file is a time in channel bits or microseconds."""
    return isinstance(value, str) and bool(_FORM.fullmatch(value))


def cycles_of(value: str, clock_hz: Fraction, cycles_per_bit: Fraction) -> int:
    """Return a time as whole cycles, the nearest number; 1 for less than half a cycle but above 0.

    `bits` are nominal channel bits. `value` must be a duration: see `is_duration`.
    """
    form = _FORM.fullmatch(value)
    assert form is not None, value
    number, unit = Fraction(form[1]), form[2]
    exact = number * cycles_per_bit if unit == "bits" else number * clock_hz / 1_000_000
    return max(round(exact), int(exact > 0))
