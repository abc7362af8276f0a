"""Straight lines laid through the rises of a clock: which cycle each rise begins, and the edges."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from refmodel.capture.waves import Times
from refmodel.ground.lane import Cycles

BLOCK = 64  # rises that are counted at once
WINDOW = 512  # rises of the clock through which one line is laid


@dataclass(frozen=True)
class Line:
    """A line through rises: `number` of each, and the numbers of the edges it stands for."""

    ns: Times
    number: Cycles
    begin: int
    end: int
    slope: float
    offset: float
    closes: bool

    def edges(self, last_ns: float | None) -> Times:
        """Return the times of its edges, those up to a time behind the last rise too."""
        end = self.end
        if last_ns is not None:
            end += max(0, int((last_ns - float(self.ns[-1])) / self.slope))
        number = np.arange(self.begin, end) - int(self.number[0])
        return np.asarray(self.offset + self.slope * number)

    def from_time(self, first_ns: float) -> Line:
        """Return the line with the edges from a time on."""
        earlier = max(0, int((float(self.ns[0]) - first_ns) / self.slope))
        return replace(self, begin=self.begin - earlier)

    def off(self) -> float:
        """Return how far a rise lies from it at most."""
        own = self.offset + self.slope * (self.number - int(self.number[0]))
        return float(np.abs(self.ns - own).max())


class Counted:
    """Rises with the number of the cycle that each begins.

    A few rises at a time are counted along the line through those before them, so that neither
    jitter nor a clock that is a little fast adds up.
    """

    def __init__(self, period: float) -> None:
        self.ns: Times = np.empty(0)
        self._number: Cycles = np.empty(0, np.int64)
        self._slope = period
        self._offset: float | None = None
        self.count = 0

    def add(self, rises: Times) -> None:
        """Take more rises."""
        self.ns = np.concatenate((self.ns, rises))
        self.count += len(rises)
        for start in range(len(self._number), len(self.ns), BLOCK):
            part = self.ns[start : start + BLOCK]
            if self._offset is None:
                self._offset = float(part[0])
            number = np.rint((part - self._offset) / self._slope).astype(np.int64)
            self._number = np.concatenate((self._number, number))
            recent = slice(max(0, start + BLOCK - WINDOW), start + BLOCK)
            if len(self._number[recent]) >= BLOCK:
                base = int(self._number[recent][0])
                slope, begin = np.polyfit(self._number[recent] - base, self.ns[recent], 1)
                self._slope, self._offset = float(slope), float(begin - slope * base)

    def lines(self, last: bool) -> Iterator[Line]:
        """Yield lines through the rises held, which are dropped; the last ones wait for more."""
        while len(self.ns) > 2 * WINDOW or (last and len(self.ns) > 1):
            closes = last and len(self.ns) <= 2 * WINDOW
            stop = len(self.ns) if closes else WINDOW
            ns, number = self.ns[:stop], self._number[:stop]
            base = int(number[0])
            slope, offset = np.polyfit(number - base, ns, 1)
            end = int(number[-1]) + 1 if closes else int(self._number[stop])
            yield Line(ns, number, base, end, float(slope), float(offset), closes)
            self.ns, self._number = self.ns[stop:], self._number[stop:]
