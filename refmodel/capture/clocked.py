"""Recorded signals sampled as the controller sees them: once at each edge of its own clock.

The value sampled at an edge is the one just before it: what changes at the edge itself is seen at
the next one, as in any synchronous design.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from refmodel.capture.waves import Bits64, Recording, SignalChanges, Times
from refmodel.ground.errors import UserError
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.numbers import counted

FEWEST = 16  # edges of a clock; of a signal with fewer it is said that it is none
HOLE = 64  # periods; where a clock has no edge for longer, nothing was recorded
PAUSE = 4  # periods; a recovered clock without an edge for longer may be a short hole


Hole = tuple[float, float]  # the times between which nothing was recorded, in ns


@dataclass(frozen=True)
class ClockRole:
    """The signal whose rising or falling edges are cycles, where `enable` has its level."""

    signal: str
    rising: bool = True
    enable: str | None = None
    enable_low: bool = False


@dataclass(frozen=True)
class SampledEdges:
    """Edges `first` .. `end - 1`: each signal's value and unknown bits as sampled there.

    `edge_ns` has their times, `dark` is 1 at edges where nothing was recorded. `undecided` has, by
    signal, edges at which the capture cannot tell the old value from the new one.
    """

    first: int
    end: int
    edge_ns: Times
    value: Mapping[str, Lane]
    unknown: Mapping[str, Lane]
    dark: Lane
    undecided: Mapping[str, Cycles]

    def until(self, end: int) -> SampledEdges:
        """Return the edges before `end`."""
        end = min(end, self.end)
        if end <= self.first:
            return replace(self, first=end, end=end)
        value, unknown = (
            {name: lane.between(self.first, end) for name, lane in lanes.items()}
            for lanes in (self.value, self.unknown)
        )
        return SampledEdges(
            self.first,
            end,
            self.edge_ns[: end - self.first],
            value,
            unknown,
            self.dark.between(self.first, end),
            {name: at[at < end] for name, at in self.undecided.items()},
        )


class Steady:
    """The edges of a clock, watched for holes: it may be uneven, but it does not stand still."""

    def __init__(self, period: float | None = None) -> None:
        self._period = period
        self._last = np.empty(0)
        self.holes: list[Hole] = []
        self.pauses: list[Hole] = []  # shorter ones, whose edges count

    def take(self, edges: Times) -> list[Hole]:
        """Take the next edges; return the holes among them and before them.

        Without a period it is the median of the first edges.
        """
        edges = np.concatenate((self._last, edges))
        gaps = np.diff(edges)
        if self._period is None and len(gaps) >= FEWEST:
            self._period = float(np.median(gaps))
        if self._period is None:
            self._last = edges
            return []
        self._last = edges[-1:]
        dark = gaps > HOLE * self._period
        found = _between(edges, dark)
        self.holes += found
        self.pauses += _between(edges, (gaps > PAUSE * self._period) & ~dark)
        return found


def _between(edges: Times, which: NDArray[np.bool_]) -> list[Hole]:
    """Return the times at both ends of some of the gaps between edges."""
    return [(float(edges[n]), float(edges[n + 1])) for n in np.flatnonzero(which).tolist()]


class ClockedSamples:
    """Samples the signals of a recording at every edge of its clock, piece by piece."""

    def __init__(self, recording: Recording, clock: ClockRole, signals: Sequence[str]) -> None:
        self._recording = recording
        self._clock = clock
        self._signals = list(dict.fromkeys(signals))
        self._pending = {name: SignalChanges.none() for name in self._signals}
        self._now = dict.fromkeys(self._signals, (0, 0xFFFFFFFF))
        self._level = (0, 1)  # of the clock: value and unknown
        self._enabled = (0, 1)
        self._late = SignalChanges.none()  # of the enable
        self._dark: list[Hole] = []
        self._clock_edges = Steady()
        self.edges = 0

    @property
    def holes(self) -> list[Hole]:
        """Where the clock stood still so far."""
        return self._clock_edges.holes

    def spans(self) -> Iterator[SampledEdges]:
        """Yield the samples in order; UserError when the clock has hardly any edge."""
        clock = self._clock
        names = [*self._signals, clock.signal, *([clock.enable] if clock.enable else [])]
        for piece in self._recording.pieces(names):
            edges = self._edges(piece.changes.get(clock.signal, SignalChanges.none()))
            self._dark += self._clock_edges.take(edges)
            if clock.enable:
                edges = self._with_enable(
                    edges, piece.changes.get(clock.enable, SignalChanges.none())
                )
            for name in self._signals:
                later = piece.changes.get(name)
                if later is not None:
                    self._pending[name] = self._pending[name].then(later)
            self._dark += piece.dark
            if len(edges):
                dark = dark_at(edges, self._dark, self.edges)
                yield self._sampled(edges, dark)
                self._dark = [pair for pair in self._dark if pair[1] > edges[-1]]
        if self.edges < FEWEST:
            kind = "rising" if clock.rising else "falling"
            raise UserError(
                f"{self._recording.name}: the clock '{clock.signal}' has"
                f" {counted(self.edges, kind + ' edge')}"
                f"{' with the enable on' if clock.enable else ''}; is it the right signal?"
            )

    def _edges(self, changes: SignalChanges) -> Times:
        """Return the times of the clock's edges in a piece."""
        level = np.where(changes.unknown & np.uint64(1), 2, changes.value & np.uint64(1))
        before = np.concatenate(([2 if self._level[1] else self._level[0]], level[:-1]))
        if len(level):
            self._level = (int(level[-1]) & 1, int(level[-1] == 2))
        wanted = 1 if self._clock.rising else 0
        return np.asarray(changes.ns[(level == wanted) & (before != wanted)])

    def _with_enable(self, edges: Times, changes: SignalChanges) -> Times:
        """Return the edges at which the enable is active."""
        changes = self._late.then(changes)
        at = np.searchsorted(changes.ns, edges, side="left")  # changes before each edge
        first = np.uint64(1)
        value = np.concatenate(([self._enabled[0]], (changes.value & first).astype(np.int64)))
        x_bits = np.concatenate(([self._enabled[1]], (changes.unknown & first).astype(np.int64)))
        active = (value[at] == (0 if self._clock.enable_low else 1)) & (x_bits[at] == 0)
        if len(edges):
            last = int(at[-1])
            self._enabled = (int(value[last]), int(x_bits[last]))
            changes = changes.part(slice(last, None))
        self._late = changes
        return np.asarray(edges[active])

    def _sampled(self, edges: Times, dark: Lane) -> SampledEdges:
        """Sample every signal at some edges."""
        first, end = self.edges, self.edges + len(edges)
        value, unknown = {}, {}
        for name in self._signals:
            value[name], unknown[name] = self._lanes(name, edges, first)
        self.edges = end
        return SampledEdges(first, end, edges, value, unknown, dark, {})

    def _lanes(self, name: str, edges: Times, first: int) -> tuple[Lane, Lane]:
        """Return a signal's value and unknown bits at some edges; keep what comes behind them."""
        changes = self._pending[name]
        at = np.searchsorted(edges, changes.ns, side="right")  # the first edge behind each change
        inside = int(np.searchsorted(at, len(edges)))
        value, x_bits = self._now[name]
        cycle = np.concatenate(([first], first + at[:inside]))
        values = np.concatenate(([value], _low(changes.value[:inside])))
        x_lanes = np.concatenate(([x_bits], _low(changes.unknown[:inside])))
        if inside:
            self._now[name] = (int(values[-1]), int(x_lanes[-1]))
            self._pending[name] = changes.part(slice(inside, None))
        return Lane.of(cycle, values), Lane.of(cycle, x_lanes)


def _low(bits: Bits64) -> NDArray[np.int64]:
    """Return the low 32 bits of values."""
    return (bits & np.uint64(0xFFFFFFFF)).astype(np.int64)


def dark_at(edges: Times, dark: Sequence[Hole], first: int) -> Lane:
    """Return 1 at the edges that end an interval in part of which nothing was recorded."""
    cycle, value = [first], [0]
    for begin, end in dark:
        low = int(np.searchsorted(edges, begin, side="right"))
        high = min(int(np.searchsorted(edges, end)) + 1, len(edges))
        if high > low:
            cycle += [first + low, first + high]
            value += [1, 0]
    return Lane.of(np.array(cycle), np.array(value))
