"""Clock frequencies as files give them: exact, so that nothing drifts."""

from __future__ import annotations

import re
from fractions import Fraction

_FORM = re.compile(r"[0-9]{1,15}(?:\.[0-9]{1,15}|/[1-9][0-9]{0,14})?")
FASTEST_HZ = 10_000_000_000


def exact_frequency(value: object) -> Fraction:
    """Return an integer or a fraction such as `78750000/11` as Hz; ValueError for anything else."""
    text = str(value).replace("_", "")
    if not _FORM.fullmatch(text):
        raise ValueError(f"'{value}' is not a frequency in Hz, e.g. 16000000 or 78750000/11")
    clock = Fraction(text)
    if clock == 0:
        raise ValueError(f"'{value}' should be above 0 Hz")
    if clock > FASTEST_HZ:
        raise ValueError(f"'{value}' should be at most {FASTEST_HZ} Hz")
    return clock
