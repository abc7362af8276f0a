"""Depth: how many edges lie between a core's pins and the block that is held to the model.

A plain core may register a strobe once or more before it counts. The model has no such registers,
so what reaches it is delayed instead: the same event, as many edges later.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.bus import is_read, reads
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.stimulus import Stimulus

Span = tuple[int, int]
Spans = tuple[Span, ...]
Columns = tuple[NDArray[np.integer], ...]  # of one length, ordered by the first, which has edges
AGAIN = 0  # the mask of a bus cycle that counts once more while it is held: nothing is returned


@dataclass(frozen=True)
class Depth:
    """Edges from a pin to the block: of channel bits, reads and writes, and of levels by name.

    A bus cycle counts at each of `acts` edges after its first, and its depth later. A level in
    `straight` has no register: status shows it in the cycle it changes in.
    """

    disk: int = 0
    reads: int = 0
    writes: int = 0
    levels: Mapping[str, int] = field(default_factory=dict)
    acts: tuple[int, ...] = (0,)
    straight: frozenset[str] = frozenset()

    @property
    def deepest(self) -> int:
        """The most edges anything is on its way."""
        access = max(self.reads, self.writes) + self.acts[-1]
        return max(self.disk, access, *self.levels.values(), 0)

    @property
    def plain(self) -> bool:
        """Whether everything counts at the edge that samples it at the pin."""
        return self.deepest == 0

    def of(self, kind: int) -> int:
        """Return the depth of a bus cycle."""
        return self.reads if is_read(kind) else self.writes


PLAIN = Depth()


def quiet_in_reset(stimulus: Stimulus, depth: Depth, resets: Iterable[Span]) -> Stimulus:
    """Return what a core's pins get, so that nothing on its way inside can outlast a reset.

    `resets` are all those of the run. Whether reset clears the registers on that way is the core's
    own business: no channel bit comes in the last edges of a reset, and a level is 0 there, a
    straight one all the time.
    """
    if depth.plain and not depth.straight:
        return stimulus
    resets = tuple(resets)
    kept = ~_within(stimulus.bit_cycle, _tails(resets, depth.disk))
    levels = dict(stimulus.levels)
    for name in (*depth.levels, *depth.straight):
        straight = name in depth.straight
        spans = resets if straight else _tails(resets, depth.levels[name])
        levels[name] = _low_within(stimulus.level(name), spans)
    bits = stimulus.bit_cycle[kept], stimulus.bit[kept]
    return replace(stimulus, bit_cycle=bits[0], bit=bits[1], levels=levels)


class Inside:
    """Follows a run span by span: what reaches the block, of what reaches the pins.

    `resets` are all those of the run, or all up to where what a span brings gets to the block.
    """

    def __init__(self, depth: Depth, resets: Iterable[Span] = ()) -> None:
        self.depth = depth
        self.resets = tuple(resets)
        self._bits: Columns = ()  # on their way at the end of the span before
        self._accesses: Columns = ()
        self._levels: dict[str, Lane] = {}

    def take(self, stimulus: Stimulus) -> Stimulus:
        """Return the span as the block gets it; it follows the span taken before."""
        depth, end = self.depth, stimulus.end
        if depth.plain:
            return stimulus
        bits = _added(self._bits, self._delayed_bits(stimulus))
        accesses = _added(self._accesses, self._delayed_accesses(stimulus))
        (bit_cycle, bit), self._bits = _split(bits, end)
        (cycle, kind, mask, value), self._accesses = _split(accesses, end)
        return replace(
            stimulus,
            bit_cycle=bit_cycle.astype(np.int64),
            bit=bit.astype(np.uint8),
            access_cycle=cycle.astype(np.int64),
            access_kind=kind.astype(np.uint8),
            access_mask=mask.astype(np.uint16),
            access_value=value.astype(np.uint16),
            levels=self._delayed_levels(stimulus),
        )

    def lost(self, pin: int, edge: int) -> bool:
        """Return whether a reset ends between the edge at the pin and the one at the block."""
        return any(max(start, pin) < min(stop, edge) for start, stop in self.resets)

    def _delayed_bits(self, stimulus: Stimulus) -> Columns:
        edge = stimulus.bit_cycle + self.depth.disk
        kept = self._kept(stimulus.bit_cycle, edge)
        return edge[kept], stimulus.bit[kept]

    def _delayed_accesses(self, stimulus: Stimulus) -> Columns:
        """Return every edge at which a bus cycle counts; later ones of a read return nothing."""
        depth, columns = self.depth, []
        kind = stimulus.access_kind
        late = np.where(reads(kind), depth.reads, depth.writes)
        for n, at in enumerate(depth.acts):
            edge = stimulus.access_cycle + late + at
            mask = np.where(reads(kind) & (n > 0), AGAIN, stimulus.access_mask)
            kept = self._kept(stimulus.access_cycle + at, edge)
            part = edge, kind, mask, stimulus.access_value
            columns.append(tuple(column[kept] for column in part))
        return _added(*columns)

    def _delayed_levels(self, stimulus: Stimulus) -> dict[str, Lane]:
        """Return the levels as late as they are; before the first span they were 0."""
        levels = dict(stimulus.levels)
        for name, late in self.depth.levels.items():
            pin = stimulus.level(name)
            inside = pin.delayed(late)
            before = self._levels.get(name)
            inside = (before or Lane.constant(0, stimulus.first)).then(inside)
            levels[name] = inside.between(stimulus.first, stimulus.end)
            self._levels[name] = inside.between(stimulus.end, stimulus.end + late + 1)
        return levels

    def _kept(self, pin: Cycles, edge: NDArray[np.integer]) -> NDArray[np.bool_]:
        """Return which events no reset ends on their way."""
        kept = np.ones(len(pin), bool)
        for start, stop in self.resets:
            kept &= np.maximum(pin, start) >= np.minimum(edge, stop)
        return kept


def _added(*parts: Columns) -> Columns:
    """Return the rows of several columns in order; equal edges stay as they come."""
    columns = tuple(np.concatenate(column) for column in zip(*filter(None, parts), strict=True))
    order = np.argsort(columns[0], kind="stable")
    return tuple(column[order] for column in columns)


def _split(columns: Columns, end: int) -> tuple[Columns, Columns]:
    """Return the rows before edge `end`, and the others."""
    at = int(np.searchsorted(columns[0], end))
    return tuple(c[:at] for c in columns), tuple(c[at:] for c in columns)


def _tails(spans: Spans, length: int) -> Spans:
    """Return the last `length` edges of each span, or more than the span if it is shorter."""
    return tuple((stop - length, stop) for _, stop in spans) if length else ()


def _within(cycles: Cycles, spans: Iterable[Span]) -> NDArray[np.bool_]:
    """Return which cycles lie in one of the spans."""
    inside = np.zeros(len(cycles), bool)
    for start, stop in spans:
        inside |= (cycles >= start) & (cycles < stop)
    return inside


def _low_within(level: Lane, spans: Spans) -> Lane:
    """Return a level that is 0 within some spans."""
    first = int(level.cycle[0])
    bounds = [edge for span in spans for edge in span if first < edge]
    cycle = np.unique(np.concatenate((level.cycle, np.array(bounds, np.int64))))
    return Lane.of(cycle, np.where(_within(cycle, spans), 0, level.at(cycle)))
