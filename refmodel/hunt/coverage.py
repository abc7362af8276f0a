"""What has met in the cases played: pairs of happenings, how far apart, and in which state."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from itertools import combinations
from typing import NamedTuple

import numpy as np

from refmodel.block.registers import RegisterBlock
from refmodel.engine.edges import Edge, edges
from refmodel.ground.lane import Cycles
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.word import WORD_BITS
from refmodel.profile import Profile

DISTANCES = range(-3, 4)
HAPPENINGS = {  # name: how a hole is told
    "bit": "a channel bit",
    "byte": "the end of a byte",
    "match": "a match",
    "word": "the end of a word",
    "read": "a read of status",
    "write_sync_word": "a write of sync_word",
    "write_transfer": "a write of transfer",
    "write_control": "a write of control",
    "move": "a word moved in a slot",
    "last_word": "the last word of a transfer",
    "gate": "a change of a gate",
    "level": "a change of a level input",
    "reset": "the begin of a reset",
}
NEEDS = {  # what a core must have for a happening
    "read": "status",
    "write_sync_word": "sync_word",
    "write_transfer": "transfer",
    "write_control": "control",
    "word": "transfer",
    "move": "memory",
    "last_word": "memory",
    "gate": "gates",
    "level": "levels",
}
BESIDE = {  # pairs of which one is always the other, or that cannot be apart
    frozenset(pair)
    for pair in (("bit", "byte"), ("bit", "match"), ("bit", "word"), ("move", "last_word"))
}


class Met(NamedTuple):
    """Two happenings, the second so many edges behind the first, while the block was in a state."""

    first: str
    second: str
    distance: int
    state: str


def happenings(edge: Edge) -> Iterator[str]:
    """Yield what happens on an edge; in reset, what arrives and has no effect."""
    inputs = edge.inputs
    if "reset" in edge.changed and inputs.reset:
        yield "reset"
    if inputs.bit_strobe:
        yield "bit"
        yield from () if inputs.reset else _completed(edge)
    if inputs.read_status:
        yield "read"
    for name in ("write_sync_word", "write_transfer", "write_control"):
        if getattr(inputs, name):
            yield name
    before, after = edge.before.transfer, edge.after.transfer
    if after.memory_index > before.memory_index:
        yield "move"
        if after.done:
            yield "last_word"
    changed = set(edge.changed)
    if changed & {"master_enable", "channel_enable"}:
        yield "gate"
    if changed & {"dma_active", "writing", "wait_for_sync"}:
        yield "level"


def _completed(edge: Edge) -> Iterator[str]:
    """Yield what the edge's channel bit completes."""
    before, after = edge.before, edge.after
    if after.window == after.sync_word:
        yield "match"
    if before.bit_count == 7:
        yield "byte"
    transfer = before.transfer
    collected = transfer.collector.bits == WORD_BITS - 1 and not transfer.collector.waiting
    if transfer.running and not transfer.write and collected:
        yield "word"


def state_of(edge: Edge) -> str:
    """Return the state of the block that decides most: what its transfer does."""
    transfer = edge.before.transfer
    if transfer.writer.active:
        return "writing"
    if transfer.running and not transfer.write:
        return "waiting for a match" if transfer.collector.waiting else "reading"
    if transfer.running:
        return "write started"
    return "armed once" if transfer.armed else "idle"


class Coverage:
    """Counts meetings over many runs; runs counted apart are added with `+=`."""

    def __init__(self) -> None:
        self.counts: Counter[Met] = Counter()

    def add(self, profile: Profile, stimuli: Iterable[Stimulus]) -> None:
        """Count what meets in a run, from reset on."""
        block = RegisterBlock(profile)
        at: dict[str, list[int]] = {name: [] for name in HAPPENINGS}
        states: dict[int, str] = {}
        for stimulus in stimuli:
            for edge in edges(block, stimulus):
                for name in happenings(edge):
                    at[name].append(edge.cycle)
                    states[edge.cycle] = state_of(edge)
        found = {name: np.array(cycles, np.int64) for name, cycles in at.items()}
        for first, second in combinations(HAPPENINGS, 2):
            if frozenset((first, second)) in BESIDE:
                continue
            for distance in DISTANCES:
                for cycle in _meeting(found[first], found[second], distance).tolist():
                    self.counts[Met(first, second, distance, states[cycle])] += 1

    def __iadd__(self, other: Coverage) -> Coverage:
        self.counts.update(other.counts)
        return self

    def table(self) -> dict[tuple[str, str], list[int]]:
        """Return for each pair how often it met at each of `DISTANCES`, in any state."""
        found: dict[tuple[str, str], list[int]] = {}
        for meeting, count in self.counts.items():
            row = found.setdefault((meeting.first, meeting.second), [0] * len(DISTANCES))
            row[meeting.distance - DISTANCES.start] += count
        return found

    def holes(self, has: Iterable[str]) -> Iterator[str]:
        """Yield in words what never met, of all that a core with these parts can do.

        `has` names its registers, and `memory`, `gates` and `levels` if it has those.
        """
        parts = set(has)
        able = [name for name in HAPPENINGS if NEEDS.get(name, "") in {"", *parts}]
        table = self.table()
        for first, second in combinations(able, 2):
            if frozenset((first, second)) in BESIDE:
                continue
            row = table.get((first, second), [0] * len(DISTANCES))
            missing = [d for d, count in zip(DISTANCES, row, strict=True) if not count]
            if missing:
                yield _hole(first, second, missing)

    def as_json(self) -> list[dict[str, str | int]]:
        """Return the counts as plain data."""
        return [{**m._asdict(), "count": count} for m, count in sorted(self.counts.items())]


def _meeting(first: Cycles, second: Cycles, distance: int) -> Cycles:
    """Return the edges of `first` that have one of `second` so many edges later."""
    met: Cycles = first[np.isin(first + distance, second)]
    return met


def _hole(first: str, second: str, distances: list[int]) -> str:
    """Say which distances of a pair never came."""
    one, other = HAPPENINGS[first], HAPPENINGS[second]
    if len(distances) == len(DISTANCES):
        return f"never within {DISTANCES[-1]} edges of each other: {one} and {other}"
    told = ", ".join("on the same edge" if d == 0 else f"{d:+d}" for d in distances)
    return f"never: {other} {told} from {one}"
