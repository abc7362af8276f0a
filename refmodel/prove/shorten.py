"""Makes a run that breaks a claim short and plain: whatever can be left out of it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from refmodel.prove.arrays import Array
from refmodel.prove.walk import Inputs, Values, Walker, WalkTrace

AT_ONCE = 256  # changes that are tried together
TRIES = 4  # how often, when one of them spoils it
COARSE = 16  # the parts of a run that are taken out first are so much shorter than it, or longer


@dataclass(frozen=True)
class _Change:
    """What is left out of a run: whole edges, and inputs that are made idle, by edge and name."""

    edges: frozenset[int] = frozenset()
    inputs: frozenset[tuple[int, str]] = frozenset()

    def and_also(self, other: _Change) -> _Change:
        """Return both changes as one."""
        return _Change(self.edges | other.edges, self.inputs | other.inputs)

    def covers(self, other: _Change) -> bool:
        """Return whether the other leaves nothing more out."""
        return other.edges <= self.edges and other.inputs <= self.inputs

    def of(self, inputs: Inputs, idle: Mapping[str, int]) -> Inputs:
        """Return a run's inputs without what is left out."""
        changed = list(inputs)
        for at, name in self.inputs:
            changed[at] = {**changed[at], name: idle[name]}
        return [edge for at, edge in enumerate(changed) if at not in self.edges]


def shortened(
    walker: Walker, trace: WalkTrace, idle: Mapping[str, int], keep: int = 1
) -> WalkTrace:
    """Return a run no longer than `trace` that breaks a claim too, with fewer inputs in it.

    `idle` are the inputs of an edge on which nothing happens; the first `keep` edges stay.
    """
    best = trace
    for ways in (_parts, _inputs, _parts, _edges, _inputs):
        while True:
            shorter = _Variants(walker, best, idle).reduced(list(ways(best, idle, keep)))
            if shorter is best:
                break
            best = shorter
    return best


class _Variants:
    """A run, and what becomes of it when something is left out."""

    def __init__(self, walker: Walker, trace: WalkTrace, idle: Mapping[str, int]) -> None:
        self._walker, self._trace, self._idle = walker, trace, idle
        names = walker.system.inputs
        self._inputs = {n: np.array([e[n] for e in trace.inputs], walker.dtype) for n in names}
        self._column = {name: n for n, name in enumerate(idle)}
        columns = [self._inputs[name] != value for name, value in idle.items()]
        self._busy = np.array(columns, bool).reshape(len(idle), len(trace)).T

    def reduced(self, changes: Sequence[_Change]) -> WalkTrace:
        """Return the run with as many of the changes made as can be made at once."""
        size = len(self._trace), int(np.count_nonzero(self._busy))
        sizes = self._sizes(changes)
        good = sorted((found, n) for n, found in enumerate(sizes) if found and found < size)
        if not good:
            return self._trace
        made = self._together([changes[n] for _, n in good[:AT_ONCE]])
        best = self._walker.replay(self._trace.start, made.of(self._trace.inputs, self._idle))
        assert best is not None, "a run does the same again"
        return best

    def _together(self, changes: Sequence[_Change]) -> _Change:
        """Return as many of the changes as go together, the first of them in any case."""
        made, left = changes[0], [c for c in changes[1:] if not changes[0].covers(c)]
        for _ in range(TRIES):
            several = [made]
            for change in left:
                several.append(several[-1].and_also(change))
            sizes = self._sizes(several)
            good = next((n for n, size in enumerate(sizes) if size is None), len(sizes)) - 1
            made, left = several[good], [c for c in left[good + 1 :] if not several[good].covers(c)]
            if not left:
                break
        return made

    def _sizes(self, changes: Sequence[_Change]) -> list[tuple[int, int] | None]:
        """Return how long the run is with each change, and how busy; None if it breaks nothing."""
        count, length = len(changes), len(self._trace)
        order = np.zeros((count, length), np.int32)
        lengths = np.zeros(count, int)
        idled = np.zeros((count, *self._busy.shape), bool)
        for n, change in enumerate(changes):
            kept = [at for at in range(length) if at not in change.edges]
            order[n, : len(kept)], lengths[n] = kept, len(kept)
            for at, name in change.inputs:
                idled[n, at, self._column[name]] = True

        def feed(edge: int, runs: Array) -> Values:
            at = order[runs, edge]
            values = {name: column[at] for name, column in self._inputs.items()}
            left_out = idled[runs, at]
            for name, n in self._column.items():
                idle = values[name].dtype.type(self._idle[name])
                values[name] = np.where(left_out[:, n], idle, values[name])
            return values

        ends = self._walker.ends(self._trace.start, lengths, feed)
        return [self._size(order[n, :end], idled[n]) for n, end in enumerate(ends.tolist())]

    def _size(self, kept: Array, idled: Array) -> tuple[int, int] | None:
        if not len(kept):
            return None
        return len(kept), int(np.count_nonzero(self._busy[kept] & ~idled[kept]))


def _parts(trace: WalkTrace, _: Mapping[str, int], keep: int) -> Iterator[_Change]:
    """Yield what comes first in a run, as far as any edge, and large parts, to be taken out."""
    for end in range(keep + 1, len(trace)):
        yield _Change(edges=frozenset(range(keep, end)))
    for part in range(1, COARSE.bit_length()):
        yield from _stretches(trace, keep, len(trace) >> part)


def _edges(trace: WalkTrace, _: Mapping[str, int], keep: int) -> Iterator[_Change]:
    """Yield small parts of a run to be taken out, down to single edges."""
    size = len(trace) // COARSE // 2
    while size > 1:
        yield from _stretches(trace, keep, size)
        size //= 2
    yield from _stretches(trace, keep, 1)


def _stretches(trace: WalkTrace, keep: int, size: int) -> Iterator[_Change]:
    """Yield the stretches of so many edges, one behind another."""
    for at in range(keep, len(trace) - size + 1, max(size, 1)):
        yield _Change(edges=frozenset(range(at, at + size)))


def _inputs(trace: WalkTrace, idle: Mapping[str, int], keep: int) -> Iterator[_Change]:
    """Yield inputs to be made idle: one, all of an edge, or one on all edges."""
    busy = [
        (at, name)
        for at in range(keep, len(trace))
        for name, value in idle.items()
        if trace.inputs[at][name] != value
    ]
    groups = [[one] for one in busy]
    groups += [[one for one in busy if one[0] == at] for at in {at for at, _ in busy}]
    groups += [[one for one in busy if one[1] == name] for name in {name for _, name in busy}]
    for group in groups:
        yield _Change(inputs=frozenset(group))
