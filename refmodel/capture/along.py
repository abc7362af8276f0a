"""Readings carried along one capture, divided by depths only where a depth matters.

From an edge on which something arrives that may count late, there is one way for each depth. When
all has counted, the ways on which the block has come to the same are one again.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from heapq import heappop, heappush
from itertools import count

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
TRIES = 16  # things that come close together, behind which no quiet edge is looked for


@dataclass
class Way:
    """How far along a capture some readings have come: all edges before `at` have passed.

    `apart` has the depths for which there is a way each: when they went apart, and the edge from
    which on they are looked at again.
    """

    depths: Depths
    runs: list[RecordedEdges]
    boxes: list[Box]
    at: int = -1
    number: int = 0
    carried: Carried | None = None
    apart: dict[str, tuple[int, int]] = field(default_factory=dict)

    def settings(self) -> dict[str, str]:
        """Return the depths it is laid out with."""
        return {name: values[0] for name, values in self.depths.items()}

    def alike(self, but: str) -> object:
        """Return what tells it from another way with another depth."""
        others = tuple(values for name, values in self.depths.items() if name != but)
        inside = self.carried.signature if self.carried else tuple(sorted(self.boxes))
        return self.number, inside, others


class Along:
    """Carries readings along a capture.

    `laid_out` gives its runs at some depths, `carried` what carries classes along one of them,
    `states` those that one can begin in; `refuted` is told of each way whose readings all fail.
    `lag` is by how many cycles the map lets a field be late at most.
    """

    def __init__(
        self,
        laid_out: Callable[[Mapping[str, str]], list[RecordedEdges]],
        carried: Callable[[RecordedEdges], Carried],
        states: Callable[[RecordedEdges], list[State]],
        refuted: Callable[[Way], None],
        lag: int = 0,
    ) -> None:
        self._laid_out = laid_out
        self._carried = carried
        self._states = states
        self._refuted = refuted
        self._lag = lag
        self._deepest: dict[str, int] = {}

    def left(self, depths: Depths, boxes: Sequence[Box]) -> Iterator[Way]:
        """Yield what is left at the capture's end, of all depths together with boxes."""
        self._deepest = {name: max(map(int, values)) for name, values in depths.items()}
        first = Way(depths, [], list(boxes))
        first.runs = self._laid_out(first.settings())
        number = count()
        ways = [(first.at, next(number), first)]
        while ways:
            at = ways[0][0]
            here = []
            while ways and ways[0][0] == at:
                here.append(heappop(ways)[2])
            for way in self._together(here):
                edge, name = self._next(way)
                if not self._walk(way, edge):
                    continue
                if edge is None:
                    yield way
                    continue
                for new in self._divided(way, name) if name else [way]:
                    heappush(ways, (new.at, next(number), new))

    def _next(self, way: Way) -> tuple[int | None, str]:
        """Return the next edge on which a depth may begin to matter, and which.

        None at the end. Without a name it is one at which ways may be one again.
        """
        found = []
        for name, values in way.depths.items():
            if len(values) > 1:
                edge = self._coming(way, name, way.at)
                found += [] if edge is None else [(edge, name)]
        for name, (began, again) in way.apart.items():
            edge = self._quiet(way, name, again)
            if edge is not None and edge < way.runs[-1].end:
                found.append((edge, ""))
                way.apart[name] = began, max(edge + 1, again)
        return min(found, default=(None, ""))

    def _coming(self, way: Way, name: str, since: int) -> int | None:
        """Return the first edge from one on at which something comes that a depth moves."""
        edges = []
        for kind in MOVES[name]:
            if kind == BEGIN:
                edges += [run.first for run in way.runs[:1] if run.first > since]
                continue
            late = sum(int(way.depths[other][0]) for other in LATE[kind] if other in way.depths)
            late += self._shows_before(way) if kind == "reads" else 0
            for run in way.runs[way.number :]:
                known = run.kinds.get(kind, [])
                at = bisect_left(known, since + late)
                if at < len(known):
                    edges.append(known[at] - late)
                    break
        return min(edges, default=None)

    def _shows_before(self, way: Way) -> int:
        """Return how many edges before it counts a read shows what the model must have."""
        return 1 + max(self._lag, int(way.depths.get("latency.status", ("0",))[0]))

    def _quiet(self, way: Way, name: str, since: int) -> int | None:
        """Return the first edge from one on by which all that a depth moves has counted."""
        window = self._window(name)
        for _ in range(TRIES):
            coming = self._coming(way, name, since - window)
            if coming is None or coming > since:
                return since
            since = coming + window + 1
        return None

    def _window(self, name: str) -> int:
        """Return how many edges something that a depth moves may take to count."""
        return self._deepest[name] + 3 + max(self._lag, self._deepest.get("latency.status", 0))

    def _together(self, ways: list[Way]) -> list[Way]:
        """Return ways that have come as far, those as one that have come to the same."""
        if len(ways) < 2:
            return ways
        for name in {name for way in ways for name in way.apart}:
            groups: dict[object, Way] = {}
            for way in ways:
                quiet = name in way.apart and self._quiet(way, name, way.at) == way.at
                key = way.alike(name) if quiet else id(way)
                if key in groups:
                    groups[key].depths[name] += way.depths[name]
                else:
                    groups[key] = way
            ways = list(groups.values())
        for way in ways:
            for name, (began, again) in list(way.apart.items()):
                if way.depths[name] == () or len(way.depths[name]) == self._deepest[name] + 1:
                    del way.apart[name]
                elif again <= way.at + 1:
                    way.apart[name] = began, 2 * way.at - began + 1
        return ways

    def _divided(self, way: Way, name: str) -> Iterator[Way]:
        """Yield a way for each depth."""
        for value in way.depths[name]:
            depths = {**way.depths, name: (value,)}
            new = Way(depths, [], list(way.boxes), way.at, way.number, None, dict(way.apart))
            new.runs = self._laid_out(new.settings())
            if BEGIN not in MOVES[name]:
                new.apart[name] = way.at, way.at + self._window(name)
            if way.number < len(new.runs):
                if way.carried is not None:
                    new.carried = self._carried(new.runs[way.number])
                    way.carried.copy_to(new.carried)
                yield new

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
