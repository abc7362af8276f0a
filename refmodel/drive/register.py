"""The registers beside the block: `drive_lines` sets the lines to the drive, `drive_status` reads.

Bit 0 of drive_lines is select_0, and so on in the order of `LINES`; bit 0 of drive_status is index,
and so on in the order of `BACK`. A write shows on the lines in the cycle of its edge; reset clears
them. A core may have the bits in other places: its binding says where.
"""

from __future__ import annotations

import numpy as np

from refmodel.drive.cable import BACK, SELECTS
from refmodel.ground.bus import WRITE_DRIVE
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus

LINES = (*SELECTS, "motor", "step", "direction", "side", "density")


def status_word(back: dict[str, int]) -> int:
    """Return drive_status for the lines back."""
    return sum(back[line] << n for n, line in enumerate(BACK))


class DriveRegister:
    """The register drive_lines over a run, span by span."""

    def __init__(self) -> None:
        self.word = 0

    def lanes(self, stimulus: Stimulus) -> dict[str, Lane]:
        """Return each line's changes in the next span."""
        made = stimulus.access_kind == WRITE_DRIVE
        cycles = np.concatenate(([stimulus.first], stimulus.access_cycle[made]))
        words = np.concatenate(([self.word], stimulus.access_value[made])).astype(np.uint32)
        self.word = int(words[-1])
        return {
            line: Lane.of(cycles, words >> np.uint32(n) & np.uint32(1))
            for n, line in enumerate(LINES)
        }
