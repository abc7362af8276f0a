"""What met in the runs played: pairs of events, how far apart, and in which state.

The inputs are arrays of edges in order, so that a revolution costs a few milliseconds.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping
from functools import cache
from itertools import combinations, product
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from refmodel.block.slots import Slots
from refmodel.engine.happened import DOING, WAITING
from refmodel.engine.timeline import Expected, Timeline
from refmodel.ground.bus import LOW, WRITE_CONTROL, WRITE_KINDS, WRITE_TRANSFER
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import Profile

REACH = 3
DISTANCES = range(-REACH, REACH + 1)
HAPPENINGS = {  # name: how it is reported
    "bit": "a channel bit",
    "byte": "the end of a byte",
    "match": "a match",
    "word": "the end of a word",
    "read": "a read of status",
    "write_sync_word": "a write of sync_word",
    "write_transfer": "a write of transfer",
    "write_control": "a write of control",
    "slot": "a slot of a running transfer",
    "move": "a word moved in a slot",
    "last_word": "the last word of a transfer",
    "gate": "a change of a gate",
    "level": "a change of a level input",
    "reset": "the start of a reset",
}
NEEDS = {  # what a core must have for a happening
    "bit": "bits",
    "byte": "bits",
    "match": "bits",
    "read": "status",
    "write_sync_word": "sync_word",
    "write_transfer": "transfer",
    "write_control": "control",
    "word": "transfer",
    "slot": "memory",
    "move": "memory",
    "last_word": "memory",
    "gate": "gates",
    "level": "levels",
    "reset": "reset",
}
ON_THE_BUS = frozenset({"read", "write_sync_word", "write_transfer", "write_control"})
BESIDE = {  # pairs of which one is always the other, or that cannot be apart
    frozenset(pair)
    for group in (("bit", "byte"), ("bit", "match"), ("bit", "word"), ("slot", "move", "last_word"))
    for pair in combinations(group, 2)
}
PAIRS = [pair for pair in combinations(HAPPENINGS, 2) if frozenset(pair) not in BESIDE]
_PLACE = {name: n for n, name in enumerate(HAPPENINGS)}
_NAMES = tuple(HAPPENINGS)
_BITS, _STATES = len(HAPPENINGS), 8  # of a key that stands for what met


class Met(NamedTuple):
    """Two events, the second so many edges behind the first, while the block was in a state.

    The state is that before the edge of the first.
    """

    first: str
    second: str
    distance: int
    state: str


class _Marks(NamedTuple):
    """Edges on which something happens, in order: which happenings, and the state before each."""

    cycle: Cycles
    what: NDArray[np.int64]
    state: NDArray[np.int64]


class Meetings:
    """Counts meetings, span after span of a run; those of runs counted apart add up with `+=`.

    `came` counts each happening, whatever it met.
    """

    def __init__(self) -> None:
        self.counts: Counter[Met] = Counter()
        self.came: Counter[str] = Counter()
        self._levels: dict[str, int] = {}
        self._tail: _Marks | None = None

    def take(self, stimulus: Stimulus, expected: Expected, slots: Slots) -> None:
        """Count what meets in a span that follows the one before; `expected` is the model's."""
        happenings = dict(self._happenings(stimulus, expected, slots))
        self.came.update({name: len(edges) for name, edges in happenings.items()})
        marks = _marks(happenings, expected)
        old = 0
        if self._tail is not None:
            old = len(self._tail.cycle)
            marks = _Marks(*map(np.concatenate, zip(self._tail, marks, strict=True)))
        self._on_one_edge(marks, old)
        for further in range(1, REACH + 1):
            self._apart(marks, old, further)
        kept = marks.cycle >= stimulus.end - REACH
        self._tail = _Marks(marks.cycle[kept], marks.what[kept], marks.state[kept])

    @classmethod
    def of(cls, profile: Profile, stimuli: Iterable[Stimulus]) -> Meetings:
        """Return what meets in a run from reset on."""
        found, timeline = cls(), Timeline(profile)
        for stimulus in stimuli:
            found.take(stimulus, timeline.run(stimulus), profile.slots)
        return found

    def __iadd__(self, other: Meetings) -> Meetings:
        self.counts.update(other.counts)
        self.came.update(other.came)
        return self

    def as_texts(self) -> dict[str, int]:
        """Return how often each meeting came, by a text that names it."""
        return {" ".join(map(str, met)): count for met, count in sorted(self.counts.items())}

    def _happenings(
        self, stimulus: Stimulus, expected: Expected, slots: Slots
    ) -> Iterator[tuple[str, Cycles]]:
        """Yield the edges of each happening."""
        happened, moves = expected.happened, expected.moves
        yield "bit", stimulus.bit_cycle
        yield from (("byte", happened.byte), ("match", happened.match), ("word", happened.word))
        yield "read", stimulus.clearing_reads
        for register, kind in WRITE_KINDS.items():
            acting = stimulus.access_kind == kind
            if kind in (WRITE_TRANSFER, WRITE_CONTROL):
                acting = acting & (stimulus.access_mask & LOW != 0)
            yield f"write_{register}", stimulus.access_cycle[acting]
        yield "slot", _slots(happened.doing, slots, expected)
        yield "move", moves.cycle
        done = expected.lines["transfer_done"].at(moves.cycle)
        yield "last_word", moves.cycle[done.astype(bool)]
        yield "gate", self._changes(stimulus, ("master_enable", "channel_enable"))
        yield "level", self._changes(stimulus, ("dma_active", "writing", "wait_for_sync"))
        begins = [cycle for cycle, level in stimulus.reset_changes() if level]
        yield "reset", np.array(begins, np.int64)

    def _changes(self, stimulus: Stimulus, names: Collection[str]) -> Cycles:
        """Return the edges on which a level is another than on the edge before."""
        found = []
        for name in names:
            lane = stimulus.level(name)
            same = self._levels.get(name, int(lane.value[0])) == int(lane.value[0])
            found.append(lane.cycle[1 if same else 0 :])
            self._levels[name] = int(lane.value[-1])
        return np.unique(np.concatenate(found))

    def _on_one_edge(self, marks: _Marks, old: int) -> None:
        """Count what happens on the same edge."""
        what, state = marks.what[old:], marks.state[old:]
        several = what & (what - 1) != 0
        keys, counts = np.unique(what[several] * _STATES + state[several], return_counts=True)
        for key, count in zip(keys.tolist(), counts.tolist(), strict=True):
            for met in _of_one_edge(key):
                self.counts[met] += count

    def _apart(self, marks: _Marks, old: int, further: int) -> None:
        """Count what happens on two edges close to each other, `further` places on in the list."""
        apart = marks.cycle[further:] - marks.cycle[:-further]
        near = np.flatnonzero((apart <= REACH) & (np.arange(further, len(marks.cycle)) >= old))
        later = near + further
        state = marks.state[near] * _STATES + marks.state[later]
        what = marks.what[near] << _BITS | marks.what[later]
        keys, counts = np.unique(
            (apart[near] * _STATES**2 + state) << 2 * _BITS | what, return_counts=True
        )
        for key, count in zip(keys.tolist(), counts.tolist(), strict=True):
            for met in _of_two_edges(key):
                self.counts[met] += count

    def table(self) -> dict[tuple[str, str], dict[str, list[int]]]:
        """Return for each pair and state how often it met at each of `DISTANCES`."""
        found: dict[tuple[str, str], dict[str, list[int]]] = {}
        for met, count in sorted(self.counts.items()):
            row = found.setdefault((met.first, met.second), {})
            row.setdefault(met.state, [0] * len(DISTANCES))[met.distance + REACH] += count
        return found


def _slots(doing: Lane, slots: Slots, expected: Expected) -> Cycles:
    """Return the edges with a slot while a transfer runs, or did before the edge."""
    if len(doing.cycle) == 1 and int(doing.value[0]) < WAITING:
        return np.empty(0, np.int64)
    lines = np.arange(expected.first // slots.line_cycles, expected.end // slots.line_cycles + 1)
    at = (lines[:, None] * slots.line_cycles + np.array(slots.at)).ravel()
    at = at[(at >= expected.first) & (at < expected.end)]
    runs: Cycles = at[_before(expected, at) >= WAITING]
    return runs


def _before(expected: Expected, edges: Cycles) -> NDArray[np.int64]:
    """Return what the transfer does in the cycle before each edge."""
    doing = expected.happened.doing
    value = doing.at(np.maximum(edges - 1, expected.first)).astype(np.int64)
    value[edges == expected.first] = expected.happened.before
    return value


def _marks(happenings: Mapping[str, Cycles], expected: Expected) -> _Marks:
    """Return the edges of all happenings together."""
    cycle = np.concatenate(list(happenings.values()))
    what = np.repeat([1 << _PLACE[name] for name in happenings], [*map(len, happenings.values())])
    order = np.argsort(cycle, kind="stable")
    cycle, what = cycle[order], what[order]
    first = np.flatnonzero(np.diff(cycle, prepend=cycle[:1] - 1))
    if not len(first):
        return _Marks(cycle, what, what)
    cycle = cycle[first]
    return _Marks(cycle, np.bitwise_or.reduceat(what, first), _before(expected, cycle))


def _named(what: int) -> list[str]:
    """Return the happenings of an edge."""
    return [name for n, name in enumerate(_NAMES) if what >> n & 1]


@cache
def _of_one_edge(key: int) -> tuple[Met, ...]:
    """Return what meets on an edge, by what happens on it and the state before."""
    state = DOING[key % _STATES]
    pairs = combinations(_named(key // _STATES), 2)
    return tuple(Met(*pair, 0, state) for pair in pairs if frozenset(pair) not in BESIDE)


@cache
def _of_two_edges(key: int) -> tuple[Met, ...]:
    """Return what meets, of what happens on two edges; the key has how far they are apart, too."""
    rest, what = divmod(key, 1 << 2 * _BITS)
    distance, states = divmod(rest, _STATES**2)
    one_state, other_state = map(DOING.__getitem__, divmod(states, _STATES))
    earlier, later = map(_named, divmod(what, 1 << _BITS))
    found = []
    for one, other in product(earlier, later):
        if frozenset((one, other)) not in BESIDE:
            if _PLACE[one] < _PLACE[other]:
                found.append(Met(one, other, distance, one_state))
            elif one != other:
                found.append(Met(other, one, -distance, other_state))
    return tuple(found)
