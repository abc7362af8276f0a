"""Channel bits as a separator delivers them, and why each was taken."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.lane import Cycles


@dataclass(frozen=True, eq=False)
class SeparatedBits:
    """Delivered channel bits: the cycle each is delivered in, and why it was taken.

    `phase` is the error of the pulse that made a 1 (0 for a 0) and `period` the length of the
    window as it ended, both in 1 / `one` cycles of the block's clock.
    """

    cycle: Cycles
    bit: NDArray[np.uint8]
    phase: Cycles
    period: Cycles
    one: float

    def since(self, cycle: int) -> SeparatedBits:
        """Return the bits delivered from a cycle on."""
        at = int(np.searchsorted(self.cycle, cycle))
        return SeparatedBits(
            self.cycle[at:], self.bit[at:], self.phase[at:], self.period[at:], self.one
        )

    def why(self, at: int) -> str:
        """Say of the bit with index `at` why it was taken as it was."""
        length = f"after a window of {self.period[at] / self.one:.3f} cycles"
        if not self.bit[at]:
            return f"no pulse fell into it, {length}"
        error = self.phase[at] / self.one
        side = "late" if error > 0 else "early"
        place = f"{abs(error):.3f} cycles {side}" if error else "at the centre"
        return f"its pulse came {place}, {length}"
