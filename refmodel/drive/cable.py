"""The lines between controller and drives: their names, what each is now, and since when.

A line is 1 when it is asserted, whatever its level on the wire. `direction` 1 steps to higher
cylinders.
"""

from __future__ import annotations

from refmodel.drive.ticks import LONG_AGO

DRIVES = 4
SELECTS = tuple(f"select_{n}" for n in range(DRIVES))
OUT = (*SELECTS, "motor", "step", "direction", "side", "density", "write_gate", "write_data")
BACK = ("index", "track_zero", "change", "protect", "ready")
READ_DATA = "read_data"


class Cable:
    """What the controller asserts, as the drives see it."""

    def __init__(self) -> None:
        self.value = dict.fromkeys(OUT, 0)
        self.since = dict.fromkeys(OUT, LONG_AGO)

    def __getitem__(self, line: str) -> int:
        return self.value[line]

    def put(self, cycle: int, line: str, value: int) -> bool:
        """Set a line from `cycle` on; return whether that changed it."""
        if self.value[line] == value:
            return False
        self.value[line] = value
        self.since[line] = cycle
        return True
