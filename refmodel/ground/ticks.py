"""Times as a file has them: they do not go back, unless a counter wraps."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Times = NDArray[np.float64]


class OddTimeError(ValueError):
    """A time that cannot be: its place among those given, and why."""

    def __init__(self, at: int, why: str) -> None:
        super().__init__(why)
        self.at = at


class Ticks:
    """Undoes the wraps of a counter, piece by piece; each fall is taken for one.

    `key` is what says where it wraps, for the messages.
    """

    def __init__(self, wrap: float | None, key: str) -> None:
        self._wrap = wrap
        self._key = key
        self._before = -np.inf
        self._laps = 0.0

    def go_on(self, ticks: Times) -> Times:
        """Return the next times without wraps; raise OddTimeError for one that cannot be."""
        back = np.diff(ticks, prepend=self._before) < 0
        if self._wrap is None:
            if back.any():
                at = int(np.flatnonzero(back)[0])
                raise OddTimeError(
                    at,
                    f"time {ticks[at]:g} comes before the one above it; if a counter wrapped here,"
                    f" {self._key} says at how much",
                )
            self._before = float(ticks[-1]) if len(ticks) else self._before
            return ticks
        above = np.flatnonzero(ticks >= self._wrap)
        if len(above):
            at = int(above[0])
            message = f"time {ticks[at]:g} is not below {self._key}, which is {self._wrap:g}"
            raise OddTimeError(at, message)
        laps = self._laps + self._wrap * np.cumsum(back)
        if len(ticks):
            self._before, self._laps = float(ticks[-1]), float(laps[-1])
        return np.asarray(ticks + laps)
