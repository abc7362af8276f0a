"""The controller's clock recovered from a capture that was sampled by another clock.

A change was seen by the first sample behind it, so it happened up to one sample earlier. Many such
times lie around a line: the edges of the clock. What caused a change is then the edge, or one of
two, from which a signal can have settled by that time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refmodel.capture.clocked import FEWEST, SampledEdges
from refmodel.capture.map_parts import ClockPart
from refmodel.capture.waves import Recording, SignalChanges, Times
from refmodel.ground.errors import UserError
from refmodel.ground.lane import Cycles, Lane

BLOCK = 64  # rises that are counted at once
WINDOW = 512  # rises of the clock through which one line is laid
STEADY_NS = 1.0  # by which the line may be off
EDGES = 200_000  # told at once
CLOCK_LIKE = 1.5  # cycles between rises up to which a signal is a clock, and no strobe
LEAST_PER_CLOCK, LEAST_PER_STROBE = 2.2, 1.1  # samples a cycle


@dataclass(frozen=True)
class Grid:
    """The recovered edges, in ns; `off_ns` is how far a change's own edge may lie from them."""

    edge_ns: Times
    off_ns: float
    behind_ns: float


class RecoveredSamples:
    """Samples the signals of a recording at the edges of a clock recovered from one of them.

    The changes of the mapped signals are held whole.
    """

    def __init__(
        self,
        recording: Recording,
        clock: ClockPart,
        signal: str,
        signals: Sequence[str],
        cycle_ns: float,
        glitch_ns: float = 0.0,
    ) -> None:
        self._recording = recording
        self._clock = clock
        self._signal = signal
        self._signals = list(dict.fromkeys(signals))
        self._cycle_ns = cycle_ns
        self._glitch_ns = glitch_ns
        self._all: list[SignalChanges] = []
        self.unsure = 0  # changes whose edge is one of several

    def spans(self) -> Iterator[SampledEdges]:
        """Yield the samples in order; UserError for a clock that cannot be recovered."""
        held = self._changes()
        self._all = list(held.values())
        sample_ns = self._clock.sample_ns or _sample_ns(held)
        grid = self._grid(held[self._signal], sample_ns)
        lanes = {name: self._lanes(held[name], grid, sample_ns) for name in self._signals}
        count = len(grid.edge_ns)
        for first in range(0, count, EDGES):
            end = min(first + EDGES, count)
            yield SampledEdges(
                first,
                end,
                grid.edge_ns[first:end],
                {name: lane.between(first, end) for name, (lane, _, _) in lanes.items()},
                {name: vague.between(first, end) for name, (_, vague, _) in lanes.items()},
                Lane.constant(0, first),
                {name: at[(at >= first) & (at < end)] for name, (_, _, at) in lanes.items()},
            )

    def _changes(self) -> dict[str, SignalChanges]:
        """Return all changes of the signals, glitches left out."""
        names = list(dict.fromkeys([*self._signals, self._signal]))
        parts: dict[str, list[SignalChanges]] = {name: [] for name in names}
        for piece in self._recording.pieces(names):
            for name, changes in piece.changes.items():
                parts[name].append(changes)
        held = {}
        for name, found in parts.items():
            whole = SignalChanges.none()
            if found:
                columns = (np.concatenate(column) for column in zip(*found, strict=True))
                whole = SignalChanges(*columns)
            held[name] = without_glitches(whole, self._glitch_ns)
        return held

    def _grid(self, changes: SignalChanges, sample_ns: float) -> Grid:
        """Return the edges of the clock over the whole capture."""
        rises = _rises(changes, self._clock.edge == "rising")
        if len(rises) < FEWEST:
            raise UserError(
                f"{self._recording.name}: '{self._signal}' rises {len(rises)} times; too few to"
                " recover a clock from"
            )
        period = self._cycle_ns
        is_clock = float(np.median(np.diff(rises))) < CLOCK_LIKE * period
        least = LEAST_PER_CLOCK if is_clock else LEAST_PER_STROBE
        if sample_ns * least > period:
            raise UserError(
                f"{self._recording.name}: a sample every {sample_ns:.4g} ns is too slow for cycles"
                f" of {period:.4g} ns: sample at {1000 * least / period:.3g} MHz or more"
            )
        number = _numbered(rises, period)
        times = np.concatenate([c.ns[[0, -1]] for c in self._all if len(c.ns)])
        edge, worst = _laid(rises, number, float(times.min()), float(times.max()))
        edge -= sample_ns / 2
        jitter = self._clock.jitter_ns
        excess = worst - sample_ns / 2 - jitter
        if excess > period / 4:
            raise UserError(
                f"{self._recording.name}: the edges of '{self._signal}' lie up to {worst:.4g} ns"
                f" from a steady clock of {period:.4g} ns; is it the right signal, or profile?"
            )
        off = jitter + max(STEADY_NS, excess)
        return Grid(edge, off, off if is_clock else off + self._clock.settle_ns)

    def _lanes(
        self, changes: SignalChanges, grid: Grid, sample_ns: float
    ) -> tuple[Lane, Lane, Cycles]:
        """Return a signal as each edge samples it, and the edges at which it may be either."""
        low = changes.ns - sample_ns - grid.off_ns - self._clock.settle_ns
        high = changes.ns + grid.behind_ns
        first = np.searchsorted(grid.edge_ns, low)
        last = np.searchsorted(grid.edge_ns, high)
        apart = last - first
        late = (apart == 0) | _goes_idle(changes)
        at = np.where(late, last, first + 1)
        value = np.concatenate(([0], _low(changes.value)))
        vague = np.concatenate(([0xFFFFFFFF], _low(changes.unknown)))
        cycle = np.concatenate(([0], at))
        order = np.argsort(cycle, kind="stable")
        unsure = np.flatnonzero(apart > 1)
        self.unsure += len(unsure)
        either = [np.arange(first[n] + 1, last[n]) for n in unsure.tolist()]
        edges = np.unique(np.concatenate(either)) if either else np.empty(0, np.int64)
        return (
            Lane.of(cycle[order], value[order]),
            Lane.of(cycle[order], vague[order]),
            edges.astype(np.int64),
        )


def _numbered(rises: Times, period: float) -> Cycles:
    """Return the number of the cycle each rise begins, the first being 0.

    A few rises at a time are counted along the line through those before them, so that neither
    jitter nor a clock that is a little fast adds up.
    """
    number = np.zeros(len(rises), np.int64)
    slope, offset = period, float(rises[0])
    for start in range(0, len(rises), BLOCK):
        part = slice(start, start + BLOCK)
        number[part] = np.rint((rises[part] - offset) / slope)
        recent = slice(max(0, start + BLOCK - WINDOW), start + BLOCK)
        if len(number[recent]) >= BLOCK:
            base = number[recent][0]
            slope, begin = np.polyfit(number[recent] - base, rises[recent], 1)
            offset = float(begin - slope * base)
    return number


def _laid(rises: Times, number: Cycles, first_ns: float, last_ns: float) -> tuple[Times, float]:
    """Return the times of all edges of a capture, and how far a rise lies from its own at most."""
    edges: list[Times] = []
    worst = 0.0
    starts = list(range(0, max(len(rises) - WINDOW, 1), WINDOW))
    for n, start in enumerate(starts):
        stop = len(rises) if n == len(starts) - 1 else start + WINDOW
        base = int(number[start])
        slope, offset = np.polyfit(number[start:stop] - base, rises[start:stop], 1)
        begin, end = base, int(number[stop]) if stop < len(rises) else int(number[-1]) + 1
        if n == 0:
            begin -= max(0, int((rises[0] - first_ns) / slope))
        if stop == len(rises):
            end += max(0, int((last_ns - rises[-1]) / slope))
        edges.append(offset + slope * (np.arange(begin, end) - base))
        own = offset + slope * (number[start:stop] - base)
        worst = max(worst, float(np.abs(rises[start:stop] - own).max()))
    return np.concatenate(edges), worst


def _low(bits: NDArray[np.uint64]) -> NDArray[np.int64]:
    return (bits & np.uint64(0xFFFFFFFF)).astype(np.int64)


def _goes_idle(changes: SignalChanges) -> NDArray[np.bool_]:
    """Tell which changes are to the value a signal has most of the time.

    They count as late and the others as early, so that no pulse is lost between the two.
    """
    if len(changes.ns) < 3:
        return np.zeros(len(changes.ns), bool)
    length = np.diff(changes.ns)
    up = length[changes.value[:-1] != 0].sum() * 2 > length.sum()
    return np.asarray((changes.value != 0) == up)


def _rises(changes: SignalChanges, rising: bool) -> Times:
    """Return when a line goes up, or down."""
    level = (changes.value & np.uint64(1)).astype(np.int64)
    before = np.concatenate((level[:1], level[:-1]))
    return np.asarray(changes.ns[(level == int(rising)) & (before != int(rising))])


def _sample_ns(held: dict[str, SignalChanges]) -> float:
    """Return the time between samples: the least between any two changes that differ in time."""
    times = np.unique(np.concatenate([changes.ns for changes in held.values()]))
    steps = np.diff(times)
    if not len(steps):
        raise UserError("the capture has no two changes; there is nothing to recover a clock from")
    return float(np.percentile(steps, 1))


def without_glitches(changes: SignalChanges, glitch_ns: float) -> SignalChanges:
    """Return the changes without pulses shorter than so many ns."""
    if not glitch_ns or len(changes.ns) < 3:
        return changes
    keep = np.ones(len(changes.ns), bool)
    at = 1
    while at < len(keep) - 1:
        short = changes.ns[at + 1] - changes.ns[at] < glitch_ns
        if short and changes.value[at + 1] == changes.value[at - 1]:
            keep[at] = keep[at + 1] = False
            at += 1
        at += 1
    return changes.part(keep)
