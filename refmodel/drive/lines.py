"""What a drive shows over a run: index, track, and whether the head has settled."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class DriveView:
    """What the drive shows at `cycle`: the index line, the track, whether the head stands still."""

    cycle: int
    index: int
    track: int
    settled: int


@dataclass(frozen=True)
class DriveLines:
    """The mechanism's lines over a whole run, in cycles.

    `index` holds where each index pulse begins, `steps` when the head leaves and for which track;
    it stands still `settle` cycles later. Nothing is known from cycle `end` on.
    """

    index: tuple[int, ...]
    index_width: int
    end: int
    steps: tuple[tuple[int, int], ...] = ()
    settle: int = 0

    def view(self, cycle: int) -> DriveView:
        """Return what the drive shows in a cycle."""
        last = bisect_right(self.index, cycle) - 1
        index = last >= 0 and cycle < self.index[last] + self.index_width
        step = bisect_right(self.steps, cycle, key=lambda s: s[0]) - 1
        moved, track = self.steps[step] if step >= 0 else (-self.settle, 0)
        return DriveView(cycle, int(index), track, int(cycle >= moved + self.settle))
