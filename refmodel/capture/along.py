"""Readings carried along one capture, divided by depths only where a depth matters.

From an edge on which something arrives that may count late, there is one way for each depth. A few
edges on, when all has counted, the ways on which the block has come to the same are one again.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

from refmodel.block.registers import State
from refmodel.capture.answers import Box
from refmodel.capture.recorded_edges import RecordedEdges
from refmodel.capture.version_space import Carried, TooManyClassesError

Depths = dict[
    str, tuple[str, ...]
]  # those not refuted; the first is the one a way is laid out with
BEGIN = "begin"
MOVES = {  # what a depth moves, and the depths by which that may be late
    "latency.status": (BEGIN,),
    "disk.latency": ("bits",),
    "bus.latency": ("reads", "writes"),
    "bus.write_latency": ("writes",),
    "inputs.latency": ("levels",),
}
LATE = {
    "bits": ("disk.latency",),
    "reads": ("bus.latency",),
    "writes": ("bus.latency", "bus.write_latency"),
    "levels": ("inputs.latency",),
}
CLOSE = 400  # edges at most until all has counted; behind it ways stay apart


@dataclass
class Way:
    """How far along a capture some readings have come: all edges before `at` have passed."""

    depths: Depths
    runs: list[RecordedEdges]
    boxes: list[Box]
    at: int = -1
    number: int = 0
    carried: Carried | None = None

    def told(self) -> dict[str, str]:
        """Return the depths it is laid out with."""
        return {name: values[0] for name, values in self.depths.items()}


class Along:
    """Carries readings along a capture.

    `laid_out` gives its runs at some depths, `carried` what carries classes along one of them,
    `states` those that one can begin in; `refuted` is told of each way whose readings all fail.
    """

    def __init__(
        self,
        laid_out: Callable[[Mapping[str, str]], list[RecordedEdges]],
        carried: Callable[[RecordedEdges], Carried],
        states: Callable[[RecordedEdges], list[State]],
        refuted: Callable[[Way], None],
    ) -> None:
        self._laid_out = laid_out
        self._carried = carried
        self._states = states
        self._refuted = refuted

    def left(self, depths: Depths, boxes: Sequence[Box]) -> Iterator[Way]:
        """Yield what is left at the capture's end, of all depths together with boxes."""
        first = Way(depths, [], list(boxes))
        first.runs = self._laid_out(first.told())
        ways = [first]
        while ways:
            way = ways.pop()
            edge, name = self._next(way)
            if self._walk(way, edge):
                if name is None:
                    yield way
                else:
                    ways += self._divided(way, name, edge or 0)

    def _next(self, way: Way, but: str = "") -> tuple[int | None, str | None]:
        """Return the next edge on which a depth may begin to matter, and which."""
        found: list[tuple[int, str]] = []
        for name, values in way.depths.items():
            if len(values) > 1 and name != but:
                edge = self._coming(way, name, way.at)
                found += [] if edge is None else [(edge, name)]
        return min(found, default=(None, None))

    def _coming(self, way: Way, name: str, since: int) -> int | None:
        """Return the first edge from one on at which something comes that a depth moves."""
        edges = []
        for kind in MOVES[name]:
            if kind == BEGIN:
                edges += [run.first for run in way.runs[:1] if run.first > since]
                continue
            late = sum(int(way.depths[other][0]) for other in LATE[kind] if other in way.depths)
            for run in way.runs[way.number :]:
                known = run.kinds.get(kind, [])
                at = bisect_left(known, since + late)
                if at < len(known):
                    edges.append(known[at] - late)
                    break
        return min(edges, default=None)

    def _divided(self, way: Way, name: str, edge: int) -> list[Way]:
        """Return a way for each depth, those that come to the same as one."""
        ways = [new for value in way.depths[name] if (new := self._with(way, name, value))]
        together = self._all_counted(way, name, edge)
        if together is None:
            return ways
        groups: dict[object, Way] = {}
        for new in ways:
            if not self._walk(new, together):
                continue
            key = (new.number, new.carried.signature if new.carried else tuple(sorted(new.boxes)))
            if key in groups:
                known = groups[key].depths
                known[name] += new.depths[name]
            else:
                groups[key] = new
        return list(groups.values())

    def _all_counted(self, way: Way, name: str, edge: int) -> int | None:
        """Return an edge by which all that a depth moves from `edge` on has counted.

        None where there is none close by, or another depth begins to matter before.
        """
        if BEGIN in MOVES[name]:
            return None
        window = max(map(int, way.depths[name])) + 2
        since = edge
        while since - edge < CLOSE:
            coming = self._coming(way, name, since + 1)
            if coming is None or coming > since + window:
                other, _ = self._next(way, but=name)
                stop = since + window
                return stop if other is None or other >= stop else None
            since = coming
        return None

    def _with(self, way: Way, name: str, value: str) -> Way | None:
        """Return a way that goes on with one depth."""
        depths = {**way.depths, name: (value,)}
        new = Way(depths, [], list(way.boxes), way.at, way.number)
        new.runs = self._laid_out(new.told())
        if way.number >= len(new.runs):
            return None
        if way.carried is not None:
            new.carried = self._carried(new.runs[way.number])
            way.carried.copy_to(new.carried)
        return new

    def _walk(self, way: Way, until: int | None) -> bool:
        """Go on up to an edge, or to the end; return whether anything is left."""
        while way.number < len(way.runs):
            run = way.runs[way.number]
            if until is not None and until < run.first:
                break
            if way.carried is None:
                way.carried = self._carried(run)
                way.carried.begin(self._states(run), way.boxes)
            with suppress(TooManyClassesError):  # what is left by then stays
                way.carried.until(run.end if until is None else until)
            if not way.carried.classes:
                self._refuted(way)
                return False
            if until is not None and until < run.end:
                break
            way.boxes = way.carried.boxes
            way.carried = None
            way.number += 1
        if until is not None:
            way.at = until
        return True
