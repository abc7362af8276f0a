"""Bytes that no read can return, as a read clears byte_ready before a late status shows them.

Such a core agrees: its binding says that status is late, and a read clears byte_ready at once (B5).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from refmodel.block.fields import Layout
from refmodel.engine.timeline import Expected
from refmodel.ground.bus import READ_STATUS
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus

RETURNED = ("byte_ready", "data")  # what a read that clears byte_ready returns of a byte


@dataclass(frozen=True)
class Unreadable:
    """How many bytes no read could return: the first was ready in `cycle`, cleared at edge `read`.

    `lag` is the latency of what that read returned of it.
    """

    count: int = 0
    cycle: int = 0
    read: int = 0
    lag: int = 0

    def __add__(self, other: Unreadable) -> Unreadable:
        """Return the bytes of two runs together, or of two spans of one."""
        first = self if self.count else other
        return replace(first, count=self.count + other.count)


class UnreadableBytes:
    """Counts them, span after span; `lags` has the latency of the fields that are compared."""

    def __init__(self, layout: Layout, lags: Mapping[str, int], start: int) -> None:
        self.found = Unreadable()
        known = RETURNED if "byte_ready" in lags else ()
        self._late = [(layout.mask_of(n), lags[n]) for n in known if lags.get(n)]
        self._most = max((lag for _, lag in self._late), default=0)
        self._start = start + 1 + self._most
        self._before: Lane | None = None

    def take(self, stimulus: Stimulus, expected: Expected) -> None:
        """Count those of the next span."""
        if not self._late:
            return
        ready = expected.lanes["byte_ready"]
        if self._before is not None:
            ready = self._before.then(ready)
        self._before = ready.between(
            max(int(ready.cycle[0]), expected.end - 2 - self._most), expected.end
        )
        clears = stimulus.access_kind == READ_STATUS
        clears &= stimulus.access_cycle >= self._start
        reads, mask = stimulus.access_cycle[clears], stimulus.access_mask[clears]
        lag = np.zeros(len(reads), np.int64)
        for bits, late in self._late:
            lag = np.where(mask & bits != 0, np.maximum(lag, late), lag)
        lost = np.flatnonzero((ready.at(reads - 1) == 1) & (ready.at(reads - 1 - lag) == 0))
        if not len(lost):
            return
        read, late = int(reads[lost[0]]), int(lag[lost[0]])
        rose = ready.cycle[(ready.cycle < read) & (ready.value == 1)]
        self.found += Unreadable(len(lost), int(rose[-1]), read, late)
