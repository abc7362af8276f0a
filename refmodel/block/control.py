"""The control register and its set/clear form: clause B13."""

from __future__ import annotations

from refmodel.block.fields import CONTROL_FIELDS, field

SET = field(CONTROL_FIELDS, "set").mask
WAIT_FOR_SYNC = field(CONTROL_FIELDS, "wait_for_sync").mask
SLOW_BITS = field(CONTROL_FIELDS, "slow_bits").mask
TOP_BIT_FRAMING = field(CONTROL_FIELDS, "top_bit_framing").mask
PRECOMPENSATION = field(CONTROL_FIELDS, "precompensation")
KEPT = WAIT_FOR_SYNC | SLOW_BITS | TOP_BIT_FRAMING | PRECOMPENSATION.mask


def next_control(control: int, written: int, there: int = KEPT) -> int:
    """Return control after a write: bits written as 1 are set or cleared, the others stay.

    Bits that are not `there` stay as reset has left them.
    """
    written_there = written & there
    if written & SET:
        return control | written_there
    return control & ~written_there & KEPT


def waits_for_sync(control: int, level: int) -> int:
    """Return 1 while control, or the input of that name, waits for a match (B4, B10)."""
    if control & WAIT_FOR_SYNC:
        return 1
    return level
