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
REACH = 48  # channel bits by which the distance may change from block to block
ALIKE = 64  # a distance with one wrong bit more in so many is as good, and the nearest is taken
NOWHERE = -1
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
    pad = REACH + BLOCK
    padded = np.concatenate((np.full(pad, 2, np.uint8), other, np.full(pad + len(one), 2, np.uint8)))
    distance = np.zeros(len(one), np.int64)
    now = 0
    for start in range(0, len(one), BLOCK):
        end = min(start + BLOCK, len(one))
        new = _distance(one, padded, start, end, now, pad)
        split = start
        if new != now:
            split = _split(one, padded, max(0, start - BLOCK), end, (now, new), pad)
        distance[split:end] = new
        now = new
    at = np.arange(len(one)) + distance
    at[(at < 0) | (at >= len(other))] = NOWHERE
    return _increasing(at)


def _distance(one: Bits, padded: Bits, start: int, end: int, now: int, pad: int) -> int:
    """Return at which distance a block agrees best: the one now unless another is far better."""
    low = start + now - REACH + pad
    if low < 0:
        return now
    part = one[start:end]
    near = padded[low : low + 2 * REACH + len(part)]
    if len(near) < 2 * REACH + len(part):
        return now
    wrong = np.count_nonzero(sliding_window_view(near, len(part)) != part, axis=1)
    if 4 * wrong.min() >= wrong[REACH]:
        return now
    best = np.flatnonzero(wrong <= wrong.min() + len(part) // ALIKE)
    return now + int(best[np.argmin(np.abs(best - REACH))]) - REACH


def _split(
    one: Bits, padded: Bits, start: int, end: int, distances: tuple[int, int], pad: int
) -> int:
    """Return the bit from which on the second distance fits better than the first."""
    wrong = []
    for distance in distances:
        begin = start + distance + pad
        wrong.append(padded[begin : begin + end - start] != one[start:end])
    before = np.concatenate(([0], np.cumsum(wrong[0])))
    behind = np.concatenate((np.cumsum(wrong[1][::-1])[::-1], [0]))
    return start + int(np.argmin(before + behind))


def _increasing(at: Cycles) -> Cycles:
    """Return the places with those left out that do not lie behind all earlier ones."""
    furthest = np.concatenate(([NOWHERE], np.maximum.accumulate(at)[:-1]))
    return np.where(at > furthest, at, NOWHERE)
