"""The controller's clock recovered from a capture that was sampled by another clock.

A change was seen by the first sample behind it, so it happened up to one sample earlier. Many such
times lie around a line: the edges of the clock. What caused a change is then the edge, or one of
two, from which a signal can have settled by that time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from refmodel.capture.clock_lines import Counted
from refmodel.capture.clocked import FEWEST, Hole, SampledEdges, Steady, dark_at
from refmodel.capture.map_parts import ClockPart
from refmodel.capture.waves import Recording, SignalChanges, Times
from refmodel.ground.errors import UserError
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.numbers import counted
from refmodel.media.plausible import WHERE

STEADY_NS = 1.0  # by which the line may be off
CHUNK = 200_000  # rises that are looked at together; a capture with few is held whole
CLOCK_LIKE = 1.5  # cycles between rises up to which a signal is a clock, and no strobe
TOO_FAST = 0.4  # of a cycle between rises: no signal of this clock, or another unit of time
TOO_RARE = 20  # cycles between samples: nobody samples so slowly, so the unit of time is wrong
LEAST = 2.2  # samples a cycle, by which its edges can be counted


class RecoveredSamples:
    """Samples the signals of a recording at the edges of a clock recovered from one of them.

    The recording is read piece by piece; what is held is what the next edges may need.
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
        self._glitch_ns = glitch_ns
        self._grid = Grid(recording.name, clock, signal, cycle_ns)
        self._placed = {name: Placed() for name in self._signals}
        self.unsure = 0  # changes whose edge is one of several

    @property
    def holes(self) -> list[Hole]:
        """Where the clock stood still so far; a strobe in its place may be silent for long."""
        return self._grid.holes

    @property
    def pauses(self) -> list[Hole]:
        """Where the clock stood still for too short a time to be called a hole."""
        return self._grid.pauses

    def uncaused(self, signal: str) -> float:
        """Return the part of a signal's changes so far that no edge can have caused."""
        return self._placed[signal].uncaused

    def spans(self) -> Iterator[SampledEdges]:
        """Yield the samples in order; UserError for a clock that cannot be recovered."""
        names = list(dict.fromkeys([*self._signals, self._signal]))
        held = {name: SignalChanges.none() for name in names}
        first, rises = 0, 0
        for changes, last in self._chunks(names):
            for name, more in changes.items():
                held[name] = held[name].then(more)
            rises += self._grid.take(changes[self._signal], held, last)
            if not self._grid.laid(last):
                continue
            known = self._grid.known_ns(last)
            for name in self._signals:
                now = held[name].ns < known
                self.unsure += self._placed[name].place(held[name].part(now), self._grid)
                held[name] = held[name].part(~now)
            held[self._signal] = held[self._signal].part(held[self._signal].ns >= known)
            end = self._grid.end(known, last)
            if end > first:
                yield self._sampled(first, end)
                first = end
        if rises < FEWEST:
            raise UserError(
                f"{self._recording.name}: '{self._signal}' rises"
                f" {counted(rises, 'time')}; too few to"
                " recover a clock from"
            )

    def _chunks(self, names: Sequence[str]) -> Iterator[tuple[dict[str, SignalChanges], bool]]:
        """Yield the changes of the signals, glitches left out, in chunks; True with the last."""
        waiting = {name: SignalChanges.none() for name in names}
        for piece in self._recording.pieces(names):
            for name, more in piece.changes.items():
                waiting[name] = waiting[name].then(more)
            if len(waiting[self._signal].ns) < 2 * CHUNK:
                continue
            ready = {}
            for name, changes in waiting.items():
                kept = without_glitches(changes, self._glitch_ns)
                sure = kept.ns < piece.end_ns - 2 * self._glitch_ns
                ready[name] = kept.part(sure)
                waiting[name] = kept.part(~sure)
            yield ready, False
        yield {n: without_glitches(c, self._glitch_ns) for n, c in waiting.items()}, True

    def _sampled(self, first: int, end: int) -> SampledEdges:
        """Return what edges `first` .. `end - 1` sample."""
        value, unknown, undecided = {}, {}, {}
        for name, placed in self._placed.items():
            value[name], unknown[name], undecided[name] = placed.take(first, end)
        edge_ns = self._grid.take_edges(first, end)
        dark = dark_at(edge_ns, self._grid.holes, first)
        return SampledEdges(first, end, edge_ns, value, unknown, dark, undecided)


class Placed:
    """The changes of one signal, each given to the edge that samples it first."""

    def __init__(self) -> None:
        self._at = np.zeros(1, np.int64)
        self._value = np.zeros(1, np.int64)
        self._x_bits = np.full(1, 0xFFFFFFFF, np.int64)
        self._unsure = np.empty(0, np.int64)
        self._idle_up: bool | None = None
        self._count, self._alone = 0, 0

    @property
    def uncaused(self) -> float:
        """The part of the changes that came too long after every edge."""
        return self._alone / self._count if self._count >= FEWEST else 0.0

    def place(self, changes: SignalChanges, grid: Grid) -> int:
        """Give changes to edges; return how many of them may belong to several."""
        if self._idle_up is None and len(changes.ns) > 2:
            self._idle_up = mostly_up(changes)
        first, last = grid.between(changes.ns)
        apart = last - first
        self._count += len(apart)
        self._alone += int(((apart == 0) & (last > 0)).sum())  # but before the first edge
        late = (apart == 0) | ((changes.value != 0) == self._idle_up)
        at = np.where(late, last, first + 1)
        unsure = np.flatnonzero(apart > 1)
        either = [np.arange(first[n] + 1, last[n]) for n in unsure.tolist()]
        self._at = np.concatenate((self._at, at))
        self._value = np.concatenate((self._value, _low(changes.value)))
        self._x_bits = np.concatenate((self._x_bits, _low(changes.unknown)))
        self._unsure = np.unique(np.concatenate((self._unsure, *either))).astype(np.int64)
        return len(unsure)

    def take(self, first: int, end: int) -> tuple[Lane, Lane, Cycles]:
        """Return the signal at edges `first` .. `end - 1`, and those at which it may be either."""
        order = np.argsort(self._at, kind="stable")
        at, value, x_bits = (c[order] for c in (self._at, self._value, self._x_bits))
        inside = int(np.searchsorted(at, end))
        since = np.maximum(at[:inside], first)
        lanes = Lane.of(since, value[:inside]), Lane.of(since, x_bits[:inside])
        unsure = self._unsure[self._unsure < end]
        keep = slice(max(inside - 1, 0), None)  # what holds at the next edge, and what comes
        self._at, self._value, self._x_bits = at[keep], value[keep], x_bits[keep]
        self._unsure = self._unsure[self._unsure >= end]
        return *lanes, unsure


class Grid:
    """The edges of a clock, recovered line by line from the rises of a signal."""

    def __init__(self, name: str, clock: ClockPart, signal: str, period: float) -> None:
        self._name = name
        self._clock = clock
        self._signal = signal
        self._period = period
        self._counted = Counted(period)
        self._steady = Steady(period)
        self._level: int | None = None
        self._sample_ns = clock.sample_ns
        self._is_clock: bool | None = None
        self._off_ns = clock.jitter_ns + STEADY_NS
        self._edge = np.empty(0)
        self._first = 0  # the number of the first edge held
        self._begins: float | None = None
        self._last_ns = -np.inf

    @property
    def holes(self) -> list[Hole]:
        """Where the signal stood still, if it is a clock."""
        return self._steady.holes if self._is_clock else []

    @property
    def pauses(self) -> list[Hole]:
        """Where it stood still for a shorter time; the edges there are taken to have come."""
        return self._steady.pauses if self._is_clock else []

    def take(self, changes: SignalChanges, held: dict[str, SignalChanges], last: bool) -> int:
        """Take more changes of the signal; return how often it rises in them."""
        rises = self._rises(changes)
        times = [c.ns[[0, -1]] for c in held.values() if len(c.ns)]
        if times:
            ends = np.concatenate(times)
            self._last_ns = max(self._last_ns, float(ends.max()))
            self._begins = float(ends.min()) if self._begins is None else self._begins
        self._check_rate(rises)
        self._counted.add(rises)
        self._steady.take(rises)
        if self._is_clock is None and self._counted.count >= FEWEST:
            self._look(held)
        if self._is_clock is not None:
            self._lay(last)
        return len(rises)

    def _rises(self, changes: SignalChanges) -> Times:
        """Return when the line goes up, or down."""
        level = (changes.value & np.uint64(1)).astype(np.int64)
        if not len(level):
            return np.empty(0)
        wanted = int(self._clock.edge == "rising")
        before = np.concatenate(([level[0] if self._level is None else self._level], level[:-1]))
        self._level = int(level[-1])
        return np.asarray(changes.ns[(level == wanted) & (before != wanted)])

    def _check_rate(self, rises: Times) -> None:
        """Raise UserError for rises that come faster than the clock, usually."""
        if len(rises) < FEWEST:
            return
        apart = float(np.median(np.diff(rises)))
        if apart < TOO_FAST * self._period:
            raise UserError(
                f"{self._name}: '{self._signal}' rises every {apart:.4g} ns, a cycle is"
                f" {self._period:.4g} ns: all times seem to be {self._period / apart:.2g} times too"
                f" short, or more; {WHERE}, or the profile"
            )

    def _look(self, held: dict[str, SignalChanges]) -> None:
        """Tell a clock from a strobe; raise UserError for samples too far apart."""
        if self._sample_ns is None:
            self._sample_ns = _sample_ns(held)
            if self._sample_ns * LEAST > self._period:
                self._sample_ns = _grid_ns(held, self._sample_ns, self._clock.jitter_ns)
        rises, period = self._counted.ns, self._period
        self._is_clock = float(np.median(np.diff(rises))) < CLOCK_LIKE * period
        if self._sample_ns > TOO_RARE * period:
            raise UserError(
                f"{self._name}: samples are {self._sample_ns:.4g} ns apart, a cycle is"
                f" {period:.4g} ns: all times seem to be far too long; {WHERE}"
            )
        if self._sample_ns * LEAST > period:
            raise UserError(
                f"{self._name}: a sample every {self._sample_ns:.4g} ns is too slow for cycles"
                f" of {period:.4g} ns: sample at {1000 * LEAST / period:.3g} MHz or more;"
                " if the analyser did, say so in clock.sample_ns"
            )

    def _lay(self, last: bool) -> None:
        """Lay lines through the rises that are there, but for those the next line may need."""
        assert self._sample_ns is not None
        parts: list[Times] = []
        worst = 0.0
        for line in self._counted.lines(last):
            if self._begins is not None and not self._first and not len(self._edge) and not parts:
                line = line.from_time(self._begins)
            parts.append(line.edges(self._last_ns if last and line.closes else None))
            worst = max(worst, line.off())
        if not parts:
            return
        jitter = self._clock.jitter_ns
        excess = worst - self._sample_ns / 2 - jitter
        if excess > self._period / 4:
            raise UserError(
                f"{self._name}: the edges of '{self._signal}' lie up to {worst:.4g} ns"
                f" from a steady clock of {self._period:.4g} ns; is it the right signal, or the"
                " right profile?"
            )
        self._off_ns = max(self._off_ns, jitter + excess)
        self._edge = np.concatenate((self._edge, *(part - self._sample_ns / 2 for part in parts)))

    def laid(self, last: bool) -> bool:
        """Return whether any edge is known."""
        del last
        return bool(len(self._edge))

    @property
    def _before_ns(self) -> float:
        """By how much earlier than it was seen a change may have been caused."""
        assert self._sample_ns is not None
        return self._sample_ns + self._off_ns + self._clock.settle_ns

    @property
    def _behind_ns(self) -> float:
        return self._off_ns if self._is_clock else self._off_ns + self._clock.settle_ns

    def between(self, ns: Times) -> tuple[Cycles, Cycles]:
        """Return for changes the edges that can have caused them: from the first, to the last."""
        first = np.searchsorted(self._edge, ns - self._before_ns) + self._first
        last = np.searchsorted(self._edge, ns + self._behind_ns) + self._first
        return first, last

    def known_ns(self, last: bool) -> float:
        """Return the time before which every change can be given to an edge."""
        return float("inf") if last else float(self._edge[-1]) - self._behind_ns

    def end(self, known: float, last: bool) -> int:
        """Return the edge behind those that no later change can reach."""
        if last:
            return self._first + len(self._edge)
        return self._first + int(np.searchsorted(self._edge, known - self._before_ns))

    def take_edges(self, first: int, end: int) -> Times:
        """Return the times of edges, which are not asked for again but for the last ones."""
        times = self._edge[first - self._first : end - self._first]
        self._edge = self._edge[end - self._first :]
        self._first = end
        return times


def _low(bits: NDArray[np.uint64]) -> NDArray[np.int64]:
    return (bits & np.uint64(0xFFFFFFFF)).astype(np.int64)


def mostly_up(changes: SignalChanges) -> bool:
    """Return whether a signal is up most of the time.

    Changes to the value it has most of the time count as late and the others as early, so that no
    pulse is lost between the two.
    """
    length = np.diff(changes.ns)
    return bool(length[changes.value[:-1] != 0].sum() * 2 > length.sum())


def _sample_ns(held: dict[str, SignalChanges]) -> float:
    """Return the time between samples: the least between any two changes that differ in time."""
    times = np.unique(np.concatenate([changes.ns for changes in held.values()]))
    steps = np.diff(times)
    if not len(steps):
        raise UserError("the capture has no two changes; there is nothing to recover a clock from")
    return float(np.percentile(steps, 1))


def _grid_ns(held: dict[str, SignalChanges], least: float, jitter: float) -> float:
    """Return the time between samples where no two changes are one sample apart.

    A clock of 141 ns sampled every 10 ns changes after 70 or 80 ns: usual steps, told apart by more
    than their jitter, are multiples of the difference. Otherwise the least step stays.
    """
    times = np.unique(np.concatenate([changes.ns for changes in held.values()]))
    steps = np.sort(np.diff(times))
    steps = steps[steps >= least - 2 * jitter]
    groups = np.split(steps, np.flatnonzero(np.diff(steps) > max(2 * jitter, least / 100)) + 1)
    usual = np.array([np.median(group) for group in groups if len(group) * 100 >= len(steps)])
    if len(usual) < 2:
        return least
    grid = float(np.diff(usual).min())
    off = np.abs(usual - grid * np.round(usual / grid))
    return min(grid, least) if (off <= max(jitter, grid / 10)).all() else least


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
