"""The transfer register and its arming interlock: clause B9."""

from __future__ import annotations

from typing import NamedTuple

from refmodel.block.fields import TRANSFER_FIELDS, field
from refmodel.block.rules import Rules

ENABLE = field(TRANSFER_FIELDS, "enable").mask
WRITE = field(TRANSFER_FIELDS, "write").mask
LENGTH = field(TRANSFER_FIELDS, "length").mask
ENABLE_LSB = field(TRANSFER_FIELDS, "enable").lsb
WRITE_LSB = field(TRANSFER_FIELDS, "write").lsb


class Landed(NamedTuple):
    """What a write of transfer does. `armed` counts the writes in a row that have enable set."""

    armed: int
    accepted: int
    stopped: int


def land(rules: Rules, armed: int, written: int) -> Landed:
    """Return what writing the word `written` does: it stops, counts, or is accepted.

    Behind an acceptance the count begins again, or stays where the next write with enable set is
    accepted too (policy arming_counts).
    """
    if written & ENABLE == 0:
        return Landed(0, accepted=0, stopped=1)
    if armed + 1 == rules.arming_writes:
        kept = armed if rules.arming_counts == "from_last_enable" else 0
        return Landed(kept, accepted=1, stopped=0)
    return Landed(armed + 1, accepted=0, stopped=0)
