"""Output lines in other forms than the model's: brought to pulses of one cycle, as it has them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from refmodel.ground.lane import Cycles, Lane


@dataclass
class LongPulses:
    """A line whose pulses last `cycles` cycles, followed span by span.

    A pulse counts in its first cycle. One that ends too early counts again in the cycle it ends
    in, one that lasts too long in each cycle it is too long: both differ from the model.
    """

    cycles: int
    _up: int = 0
    _rise: int = 0

    def take(self, line: Lane, end: int) -> Lane:
        """Return the line in cycles up to `end` - 1 as pulses of one cycle."""
        at: list[int] = []
        for cycle, level in zip(line.cycle.tolist(), line.value.tolist(), strict=True):
            if self._up and not level:
                at += range(max(self._rise + self.cycles, int(line.cycle[0])), cycle)
                at += [cycle] * (cycle - self._rise < self.cycles)
            elif level and not self._up:
                at.append(cycle)
                self._rise = cycle
            self._up = level
        if self._up:
            at += range(max(self._rise + self.cycles, int(line.cycle[0])), end)
        return pulses_at(np.array(at, np.int64), int(line.cycle[0]), end)


@dataclass
class Toggles:
    """A line that changes its level where the model's pulses, followed span by span.

    `resets` are the spans of a run's resets: what the line does there is no pulse.
    """

    resets: Sequence[tuple[int, int]]
    _level: int | None = None

    def take(self, line: Lane, end: int) -> Lane:
        """Return the line in cycles up to `end` - 1 as pulses of one cycle."""
        change = np.ones(len(line.cycle), bool)
        change[0] = self._level is not None and int(line.value[0]) != self._level
        self._level = int(line.value[-1])
        for start, stop in self.resets:
            change &= (line.cycle < start) | (line.cycle >= stop)
        return pulses_at(line.cycle[change], int(line.cycle[0]), end)


def pulses_at(cycle: Cycles, first: int, end: int) -> Lane:
    """Return the line that is 1 in these cycles only, from cycle `first` to `end` - 1."""
    cycle = np.unique(cycle)
    ends = np.setdiff1d(cycle + 1, cycle)
    edges = np.concatenate(([first], cycle, ends[ends < end]))
    level = np.concatenate(([0], np.ones(len(cycle)), np.zeros(int((ends < end).sum()))))
    order = np.argsort(edges, kind="stable")
    return Lane.of(edges[order], level[order].astype(np.uint32))


def as_long_pulses(line: Lane, cycles: int) -> Lane:
    """Return a line of pulses of one cycle with each of them `cycles` long."""
    rises = line.cycle[line.value == 1]
    held = np.unique(rises[:, None] + np.arange(cycles))
    end = int(held[-1]) + 2 if len(held) else int(line.cycle[0]) + 1
    return pulses_at(held, int(line.cycle[0]), max(end, int(line.cycle[-1]) + 1))


def as_toggles(line: Lane, resets: Sequence[tuple[int, int]]) -> Lane:
    """Return a line that changes its level at each pulse of another, and is 0 from a reset on."""
    rises = line.cycle[line.value == 1]
    begins = np.array([start for start, _ in resets], np.int64)
    since = np.searchsorted(rises, begins)  # pulses before each reset
    last = np.searchsorted(begins, rises, side="right")
    number = np.arange(len(rises)) - np.concatenate(([0], since))[last]
    cycle = np.concatenate(([int(line.cycle[0])], rises, begins))
    level = np.concatenate(([0], (number + 1) % 2, np.zeros(len(begins))))
    order = np.argsort(cycle, kind="stable")
    return Lane.of(cycle[order], level[order].astype(np.uint32))
