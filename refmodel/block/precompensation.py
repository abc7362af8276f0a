"""Write precompensation: which channel bits are written early or late, and by how much (B11).

Neighbouring transitions push each other apart when they are read, so a bit with a close neighbour
on one side only is written towards that neighbour.
"""

from __future__ import annotations

EARLY_PATTERN = 0b10_1_00
LATE_PATTERN = 0b00_1_01


def direction(pattern: int) -> int:
    """Return 1 to write the middle bit of five late, -1 for early, 0 for neither.

    `pattern` holds five channel bits, the first of them in bit 4. Source: the raw form of the
    rule in Control Data application note 77653447 (1983), seen quoted.
    """
    if pattern == LATE_PATTERN:
        return 1
    if pattern == EARLY_PATTERN:
        return -1
    return 0


def amount(select: int) -> int:
    """Return the shift in cycles that control.precompensation selects: 0, 1, 2 or 4."""
    if select == 0:
        return 0
    if select == 1:
        return 1
    if select == 2:
        return 2
    return 4
