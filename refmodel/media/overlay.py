"""Revolutions of one track laid over each other: which channel bits are stable, which weak.

Revolutions are unequal in time, and a place that reads differently may even give one channel bit
more or less. So they are laid over each other by what they hold: block by block each follows the
first at the distance at which it agrees best, and where that distance changes the bits that fit
neither belong to no bit of the first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from refmodel.ground.errors import UserError
from refmodel.ground.lane import Cycles
from refmodel.media.mfm import Bits

BLOCK = 256  # channel bits compared at once
REACH = 160  # channel bits by which the distance may change from block to block
ALIKE = 64  # a distance with one wrong bit more in so many is as good, and the nearest is taken
NOWHERE = -1
NO_BIT = 2  # before the first channel bit and behind the last
TOGETHER = 16  # weak bits so close belong to one region


@dataclass(frozen=True)
class WeakRegion:
    """A stretch of channel bits `first` .. `last`; `weak` of them read 1 in some revolutions only.

    `slips` revolutions had more or fewer bits in it than the first.
    """

    first: int
    last: int
    weak: int
    slips: int


@dataclass(frozen=True, eq=False)
class Overlay:
    """Revolutions over the first of them: of each of its channel bits, how often it read 1.

    `ones[k]` of `seen[k]` revolutions read channel bit k as 1; `at[r][k]` is the bit of revolution
    r that lies over it, or `NOWHERE`.
    """

    ones: NDArray[np.int64]
    seen: NDArray[np.int64]
    at: tuple[Cycles, ...]

    @property
    def revolutions(self) -> int:
        """How many revolutions there are."""
        return len(self.at)

    @property
    def weak(self) -> NDArray[np.bool_]:
        """Which channel bits did not read alike in all revolutions, or were missing in some.

        A few bits more at the end of a revolution, where it is cut, do not count.
        """
        everywhere = np.flatnonzero(self.seen == self.revolutions)
        weak = (self.ones != 0) & (self.ones != self.seen) | (self.seen != self.revolutions)
        weak[: everywhere[0] if len(everywhere) else 0] = False
        weak[everywhere[-1] + 1 if len(everywhere) else 0 :] = False
        return np.asarray(weak)

    @property
    def bits(self) -> Bits:
        """What most revolutions read; the first decides where they are equally many."""
        more = 2 * self.ones > self.seen
        return np.where(2 * self.ones == self.seen, self._first, more).astype(np.uint8)

    _first: Bits

    def regions(self) -> list[WeakRegion]:
        """Return the weak regions in order."""
        weak = np.flatnonzero(self.weak)
        if not len(weak):
            return []
        cuts = np.flatnonzero(np.diff(weak) > TOGETHER) + 1
        return [self._region(part) for part in np.split(weak, cuts)]

    def _region(self, weak: NDArray[np.int64]) -> WeakRegion:
        """Return the region of some weak bits that lie close together."""
        first, last = int(weak[0]), int(weak[-1])
        slips = sum(self._slips(at, first, last) for at in self.at[1:])
        return WeakRegion(first, last, len(weak), slips)

    @staticmethod
    def _slips(at: Cycles, first: int, last: int) -> bool:
        """Tell whether a revolution's distance behind a region is not the one before it."""
        before, after = at[:first], at[last + 1 :]
        before = before[before != NOWHERE][-1:] - np.flatnonzero(before != NOWHERE)[-1:]
        found = np.flatnonzero(after != NOWHERE)[:1]
        if not len(before) or not len(found):
            return False
        return bool(after[found[0]] - (last + 1 + found[0]) != before[0])


def lay_over(revolutions: Sequence[Bits]) -> Overlay:
    """Lay revolutions of channel bits over the first; UserError when there is none."""
    if not revolutions:
        raise UserError("no whole revolution: there is nothing to lay over each other")
    first = revolutions[0]
    at = (np.arange(len(first)), *(align(first, other) for other in revolutions[1:]))
    ones = np.zeros(len(first), np.int64)
    seen = np.zeros(len(first), np.int64)
    for bits, place in zip(revolutions, at, strict=True):
        here = place != NOWHERE
        seen += here
        ones[here] += bits[place[here]]
    return Overlay(ones, seen, at, first)


def align(one: Bits, other: Bits) -> Cycles:
    """Return for each channel bit of `one` the bit of `other` it is, or `NOWHERE`."""
    pair = _Pair(one, other)
    distance = np.zeros(len(one), np.int64)
    now = 0
    for start in range(0, len(one), BLOCK):
        end = min(start + BLOCK, len(one))
        new = pair.best(start, end, now)
        split = pair.split(start, end, now, new) if new != now else start
        distance[split:end] = new
        now = new
    at = np.arange(len(one)) + distance
    at[(at < 0) | (at >= len(other))] = NOWHERE
    return _increasing(at)


class _Pair:
    """Two revolutions, compared at distances: bit k of the one with bit k + d of the other."""

    def __init__(self, one: Bits, other: Bits) -> None:
        self._one = one
        self._pad = REACH + BLOCK
        space = np.full(self._pad + len(one), NO_BIT, np.uint8)
        self._other = np.concatenate((space[: self._pad], other, space))

    def wrong(self, start: int, end: int, distance: int) -> NDArray[np.bool_]:
        """Return which bits of a stretch differ at a distance; none outside the other do."""
        begin = start + distance + self._pad
        if begin < 0:
            return np.ones(end - start, bool)
        there = self._other[begin : begin + end - start]
        return np.asarray((there != self._one[start:end]) & (there != NO_BIT))

    def best(self, start: int, end: int, now: int) -> int:
        """Return at which distance a block agrees best: the one now unless another is far better.

        Of distances that are as good the nearest to the one now is taken.
        """
        wrong_now = np.count_nonzero(self.wrong(start, end, now))
        low = start + now - REACH + self._pad
        if not wrong_now or low < 0:
            return now
        near = self._other[low : low + 2 * REACH + end - start]
        there = sliding_window_view(near, end - start)
        wrong = np.count_nonzero((there != self._one[start:end]) & (there != NO_BIT), axis=1)
        if 4 * wrong.min() >= wrong_now:
            return now
        good = np.flatnonzero(wrong <= wrong.min() + (end - start) // ALIKE)
        return now + int(good[np.argmin(np.abs(good - REACH))]) - REACH

    def split(self, start: int, end: int, now: int, new: int) -> int:
        """Return the bit from which on a new distance fits better than the one up to now.

        It may lie far back: a run of one byte fits at many distances.
        """
        while start > 0:
            alike = np.count_nonzero(self.wrong(start - BLOCK, start, new)) <= BLOCK // ALIKE
            start -= BLOCK
            if not alike:
                break
        before = np.concatenate(([0], np.cumsum(self.wrong(start, end, now))))
        behind = np.cumsum(self.wrong(start, end, new)[::-1])[::-1]
        return start + int(np.argmin(before + np.append(behind, 0)))


def _increasing(at: Cycles) -> Cycles:
    """Return the places with those left out that do not lie behind all earlier ones."""
    furthest = np.concatenate(([NOWHERE], np.maximum.accumulate(at)[:-1]))
    return np.where(at > furthest, at, NOWHERE)
