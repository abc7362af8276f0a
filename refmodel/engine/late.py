"""What a field with a latency may show: what the model did, and its reset value once reset begins.

Whether reset clears the registers that make a field late is the core's own business (B14).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from refmodel.ground.lane import Cycles, Lane, Values


class Allowed(NamedTuple):
    """The model's lane as late as it may be, and the same where reset clears what is late."""

    late: Lane
    cleared: Lane

    @property
    def cycle(self) -> Cycles:
        """The cycles in which either of them changes."""
        same = self.cleared is self.late
        return self.late.cycle if same else np.union1d(self.late.cycle, self.cleared.cycle)

    def each(self, change: Callable[[Lane], Lane]) -> Allowed:
        """Return both, changed in the same way."""
        late = change(self.late)
        return Allowed(late, late if self.cleared is self.late else change(self.cleared))

    def apart(self, cycles: Cycles, shown: Values, unknown: Values, counted: Values) -> Values:
        """Return the counted bits in which what is shown in `cycles` differs from the late lane.

        They are 0 where it is what the other lane has; unknown bits differ from everything.
        """
        bits = ((self.late.at(cycles) ^ shown) | unknown) & counted
        if self.cleared is not self.late:
            others = ((self.cleared.at(cycles) ^ shown) | unknown) & counted
            bits = np.where(others == 0, np.uint32(0), bits)
        return bits


def may_show(model: Lane, lag: int, begins: Sequence[int]) -> Allowed:
    """Return what a core may show of a model's lane that it has `lag` cycles later.

    `begins` has the first edges of resets, in order. From each on, the cleared lane has what the
    model shows in that cycle, `lag` cycles long; apart from that the two are the same.
    """
    late = model.delayed(lag)
    starts = np.asarray(begins, np.int64)
    starts = starts[starts >= model.cycle[0]]
    if not lag or not len(starts):
        return Allowed(late, late)
    since = np.searchsorted(starts, late.cycle, side="right") - 1
    kept = (since < 0) | (late.cycle >= starts[since] + lag)
    ends = starts + lag
    ends = ends[np.append(ends[:-1] < starts[1:], True)]
    cycle = np.concatenate((late.cycle[kept], ends, starts))
    value = np.concatenate((late.value[kept], late.at(ends), model.at(starts)))
    order = np.argsort(cycle, kind="stable")
    return Allowed(late, Lane.of(cycle[order], value[order]))
