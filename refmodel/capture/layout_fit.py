"""Where the fields of status are: each place held against the model's field, whatever else is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refmodel.block.fields import STATUS_FIELDS, STATUS_WIDTH, UNUSED, Layout
from refmodel.capture.capture_map import CaptureMap
from refmodel.capture.knowledge import Knowledge, begin_state
from refmodel.capture.recorded_run import RunSpan
from refmodel.engine.timeline import Timeline
from refmodel.ground.lane import Cycles, Lane
from refmodel.profile import Profile

ENOUGH = 0.9  # of the time a field must agree at the place it is taken to have
CLEARLY = 0.003  # by how much more than at any other


@dataclass(frozen=True)
class Place:
    """A place of a field, its lowest bit; in `first` the two differ first, None if never.

    `share` is the part of the decided cycles, or reads, in which they agree.
    """

    field: str
    lsb: int
    share: float
    first: int | None


def places(
    given: CaptureMap, profile: Profile, spans: Iterable[RunSpan], phase: int = 0
) -> list[Place]:
    """Return how well every place agrees with each field, as the model has it under a profile.

    Empty where the capture has no whole status word and no read.
    """
    timeline = Timeline(profile)
    timeline.state = begin_state(given, profile, phase)
    tallies = {
        (field.name, lsb): _Tally()
        for field in STATUS_FIELDS
        for lsb in range(STATUS_WIDTH - field.width + 1)
    }
    knowledge = Knowledge(given, profile.status)
    for span in knowledge.marked(spans):
        expected = timeline.run(span.stimulus)
        for seen in _words(span, given, profile.status):
            for field in STATUS_FIELDS:
                wanted = expected.lanes[field.name].at(seen.shown_in)
                known = ~seen.open[field.name]
                for lsb in range(STATUS_WIDTH - field.width + 1):
                    got = seen.word >> lsb & ((1 << field.width) - 1)
                    tallies[field.name, lsb].add(got, wanted, known, seen)
    return [Place(n, lsb, t.share, t.first) for (n, lsb), t in tallies.items() if t.total]


def best_layout(found: list[Place], now: Layout) -> dict[str, int | str]:
    """Return the layout in which each field agrees far better than where it is; empty for none."""
    moved: dict[str, int | str] = {}
    for field in now.fields:
        mine = sorted((p for p in found if p.field == field.name), key=lambda p: -p.share)
        if len(mine) < 2 or mine[0].share < ENOUGH or mine[0].share - mine[1].share < CLEARLY:
            continue
        lsb = mine[0].lsb
        if lsb != field.lsb:
            top = lsb + field.width - 1
            moved[field.name] = lsb if field.width == 1 else f"{top}..{lsb}"
    return moved


@dataclass
class _Seen:
    """Words of status: each weighs `weight`, and shows what the model has in cycle `shown_in`."""

    word: NDArray[np.int64]
    shown_in: Cycles
    weight: NDArray[np.int64]
    open: dict[str, NDArray[np.bool_]]


@dataclass
class _Tally:
    """Agreement of a field with one place."""

    right: int = 0
    total: int = 0
    first: int | None = None

    def add(
        self,
        got: NDArray[np.int64],
        wanted: NDArray[np.uint32],
        known: NDArray[np.bool_],
        seen: _Seen,
    ) -> None:
        """Count words."""
        same = got == wanted
        self.right += int(seen.weight[same & known].sum())
        self.total += int(seen.weight[known].sum())
        wrong = np.flatnonzero(~same & known)
        if self.first is None and len(wrong):
            self.first = int(seen.shown_in[wrong[0]])

    @property
    def share(self) -> float:
        """The part that agrees."""
        return self.right / self.total if self.total else 0.0


def _words(span: RunSpan, given: CaptureMap, layout: Layout) -> Iterator[_Seen]:
    """Yield the words of status that a span shows: the register itself, and those read."""
    first, end = span.stimulus.first, span.stimulus.end
    if given.observe.status is not None:
        lanes = span.observed.lanes
        undecided = span.observed.undecided
        cycles = np.unique(np.concatenate([lane.cycle for lane in lanes.values()]))
        for lane in undecided.values():
            cycles = np.union1d(cycles, lane.cycle)
        cycles = cycles[(cycles >= first) & (cycles < end)]
        word = lanes[UNUSED].at(cycles).astype(np.int64)
        for field in layout.fields:
            word |= lanes[field.name].at(cycles).astype(np.int64) << field.lsb
        none = Lane.constant(0, first)
        closed = {f.name: undecided.get(f.name, none).at(cycles) != 0 for f in layout.fields}
        yield _Seen(word, cycles, np.diff(cycles, append=end), closed)
        return
    reads = span.reads
    inside = reads.cycle > first
    cycle, word = reads.cycle[inside], reads.value[inside].astype(np.int64)
    left = (reads.mask & ~reads.decided)[inside]
    closed = {f.name: (left & np.uint16(f.mask)) != 0 for f in layout.fields}
    if len(cycle):
        yield _Seen(word, cycle - 1, np.ones(len(cycle), np.int64), closed)
