"""A lane: one signal over time as the list of its changes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Cycles = NDArray[np.int64]
Values = NDArray[np.uint32]


@dataclass(frozen=True, slots=True)
class Lane:
    """Values and the cycles they begin in; strictly increasing cycles, equal neighbours merged.

    `cycle[0]` is where the lane begins: before it the value is not known.
    """

    cycle: Cycles
    value: Values

    @classmethod
    def constant(cls, value: int, first: int = 0) -> Lane:
        """Return the lane that holds `value` from cycle `first` on."""
        return cls(np.array([first], np.int64), np.array([value], np.uint32))

    @classmethod
    def of(cls, cycle: Cycles, value: NDArray[np.integer]) -> Lane:
        """Return the lane with these values, in force from these (non-decreasing) cycles.

        Of several values in one cycle the last counts; a value equal to the one before is dropped.
        """
        values: Values = np.asarray(value).astype(np.uint32, copy=False)
        if len(cycle) > 1:
            last = np.empty(len(cycle), bool)
            last[-1] = True
            np.not_equal(cycle[1:], cycle[:-1], out=last[:-1])
            if not last.all():
                cycle, values = cycle[last], values[last]
            new = np.empty(len(cycle), bool)
            new[0] = True
            np.not_equal(values[1:], values[:-1], out=new[1:])
            if not new.all():
                cycle, values = cycle[new], values[new]
        return cls(cycle, values)

    def at(self, cycles: Cycles | int) -> Values:
        """Return the value in each of `cycles`, none before the lane begins."""
        return self.value[self.cycle.searchsorted(cycles, side="right") - 1]

    def _repr_html_(self) -> str:
        from refmodel.ground.notebook import table

        changes = zip(self.cycle.tolist(), self.value.tolist(), strict=True)
        return table(("cycle", "value"), [(str(c), f"{v} (0x{v:X})") for c, v in changes])

    def same_as(self, other: Lane) -> bool:
        """Return whether two lanes have the same changes."""
        return np.array_equal(self.cycle, other.cycle) and np.array_equal(self.value, other.value)

    def delayed(self, cycles: int) -> Lane:
        """Return the same lane `cycles` later."""
        return Lane(self.cycle + cycles, self.value)

    def late(self, before: int, end: int) -> Lane:
        """Return the same lane one cycle later up to `end`, beginning where it does with `before`.

        It is what a register behind this signal shows, which held `before`.
        """
        first = int(self.cycle[0])
        cycle = np.concatenate(([first], self.cycle + 1))
        lane = Lane.of(cycle, np.concatenate(([before], self.value)))
        return lane.between(first, end)

    def between(self, first: int, end: int) -> Lane:
        """Return the part in cycles `first` .. `end - 1`; the lane must begin by `first`."""
        start, stop = self.cycle.searchsorted((first, end - 1), side="right").tolist()
        start = max(start - 1, 0)
        cycle = self.cycle[start:stop].copy()
        if len(cycle):
            cycle[0] = max(int(cycle[0]), first)
        return Lane(cycle, self.value[start:stop])

    def then(self, later: Lane) -> Lane:
        """Return this lane followed by `later`, which takes over where it begins."""
        keep = int(np.searchsorted(self.cycle, later.cycle[0])) if len(later.cycle) else None
        return Lane.of(
            np.concatenate((self.cycle[:keep], later.cycle)),
            np.concatenate((self.value[:keep], later.value)),
        )


def either(first: Lane, second: Lane) -> Lane:
    """Return where one of two levels is up; both lanes begin in the same cycle."""
    for one, other in ((first, second), (second, first)):
        if len(other.cycle) == 1 and not other.value[0]:
            return one
    cycle = np.union1d(first.cycle, second.cycle)
    return Lane.of(cycle, first.at(cycle) | second.at(cycle))


def both(first: Lane, second: Lane) -> Lane:
    """Return where both of two levels are up; both lanes begin in the same cycle."""
    for one, other in ((first, second), (second, first)):
        if len(other.cycle) == 1 and other.value[0]:
            return one
    cycle = np.union1d(first.cycle, second.cycle)
    return Lane.of(cycle, first.at(cycle) & second.at(cycle))


def cycles_up(level: Lane, end: int) -> Cycles:
    """Return the cycles before `end` in which a level is up."""
    length = np.diff(level.cycle, append=end)
    up = level.value != 0
    first, length = level.cycle[up], length[up]
    into = np.arange(length.sum()) - np.repeat(np.cumsum(length) - length, length)
    return np.asarray(np.repeat(first, length) + into, np.int64)


def rises_of(lane: Lane, first: int, end: int) -> Cycles:
    """Return the edges of a stretch at which a level goes up."""
    before = np.concatenate(([0], lane.value[:-1]))
    rises = lane.cycle[(lane.value != 0) & (before == 0)]
    return np.asarray(rises[(rises >= first) & (rises < end)], np.int64)
