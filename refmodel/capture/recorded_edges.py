"""A recorded run laid out edge by edge: what arrives at each, and what is shown from it on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from refmodel.block.fields import UNUSED, Layout
from refmodel.block.slots import Slots
from refmodel.capture.capture_map import LINES, CaptureMap
from refmodel.capture.recorded_run import RunSpan
from refmodel.engine.edges import Arrival, arrivals
from refmodel.engine.evidence import Moved, Reads
from refmodel.engine.quiet import NEVER
from refmodel.ground.bus import READ_DRIVE, READ_STATUS, is_read
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.word import WORD
from refmodel.profile import Profile

Access = tuple[int, int, int]  # kind, mask, value
LINE_LSB = {name: 16 + n for n, name in enumerate(LINES)}  # above the status word
MOVED, STORED, WORD_LSB = 1 << 21, 1 << 22, 23  # a word moved in the cycle, and the word
MOVE = MOVED | STORED | WORD << WORD_LSB
NEVER_SHOWN = 1 << 20  # what no reading shows: an unknown bit where one was decided


@dataclass
class AtEdge:
    """What arrives at an edge, and what must show from it on until the next such edge.

    `shown` and `mask` are the status word with the lines above it, and which bits of it count;
    `once` holds for the one cycle only, as a read returned it.
    """

    arrivals: list[Arrival] = field(default_factory=list)
    accesses: list[Access] = field(default_factory=list)
    shown: tuple[int, int] | None = None
    once: tuple[int, int] = (0, 0)
    slot: bool = False  # a slot in which what is moved was recorded

    @property
    def kinds(self) -> set[str]:
        """What arrives, by how it may be late."""
        names = {name for _, name, _ in self.arrivals} - {"reset"}
        found = {"bits" if name == "bit" else "levels" for name in names}
        return found | {"reads" if is_read(kind) else "writes" for kind, _, _ in self.accesses}

    @property
    def stirs(self) -> bool:
        """Whether anything arrives."""
        return bool(self.arrivals or self.accesses or self.slot)


@dataclass
class RecordedEdges:
    """One run: its first edge and the one behind its last, and all at which something is."""

    stimulus: Stimulus  # the first span's
    end: int
    at: dict[int, AtEdge]
    memory: NDArray[np.uint16]
    levels: dict[str, int] = field(default_factory=dict)  # as the last span left them

    @property
    def first(self) -> int:
        """The first edge."""
        return self.stimulus.first

    @cached_property
    def edges(self) -> list[int]:
        """All edges at which something is, in order."""
        return sorted(self.at)

    @cached_property
    def kinds(self) -> dict[str, list[int]]:
        """The edges at which each kind of thing comes that may be late."""
        found: dict[str, list[int]] = {}
        for cycle in self.edges:
            for kind in self.at[cycle].kinds:
                if kind != "levels" or cycle > self.first:
                    found.setdefault(kind, []).append(cycle)
        return found

    @property
    def from_reset(self) -> bool:
        """Whether the run begins in reset."""
        resets = self.stimulus.resets
        return bool(resets) and resets[0][0] == self.first


def laid_out(given: CaptureMap, profile: Profile, spans: Iterable[RunSpan]) -> RecordedEdges | None:
    """Return a run edge by edge, None for one without spans."""
    found: RecordedEdges | None = None
    layout, slots = profile.status, profile.slots
    for span in spans:
        stimulus = span.stimulus
        if found is None:
            found = RecordedEdges(stimulus, stimulus.end, {}, stimulus.memory)
        found.end = stimulus.end
        _add_arrivals(found, stimulus)
        _add_shown(found, given, layout, span)
        _add_reads(found, given, layout, span.reads)
        if span.moved is not None:
            _add_moves(found, slots, stimulus, span.moved)
    if found is not None:
        _end_shown(found, given)
    return found


def _end_shown(found: RecordedEdges, given: CaptureMap) -> None:
    """Let nothing count behind the end, where what comes late was not recorded any more."""
    held = given.held()
    stop = found.end - max((*held.fields.values(), *held.lines.values()), default=0)
    for cycle, edge in found.at.items():
        if cycle >= stop:
            edge.shown = None
    found.at.setdefault(stop, AtEdge()).shown = (0, 0)


def _add_arrivals(found: RecordedEdges, stimulus: Stimulus) -> None:
    """Add what arrives in a span; a level that stays as it was does not."""
    at, levels = found.at, found.levels
    for arrival in arrivals(stimulus):
        cycle, name, value = arrival
        if cycle == NEVER or (name != "bit" and levels.get(name) == value):
            continue
        if name != "bit":
            levels[name] = value
        at.setdefault(cycle, AtEdge()).arrivals.append(arrival)
    columns = (s.tolist() for s in (
        stimulus.access_cycle, stimulus.access_kind, stimulus.access_mask, stimulus.access_value
    ))  # fmt: skip
    for cycle, *access in zip(*columns, strict=True):
        if READ_STATUS < access[0] <= READ_DRIVE:
            continue  # changes nothing
        at.setdefault(cycle, AtEdge()).accesses.append(tuple(access))


def _add_shown(found: RecordedEdges, given: CaptureMap, layout: Layout, span: RunSpan) -> None:
    """Add what the lanes of a span show, in the cycles in which the model has it."""
    held = given.held()
    lags = {**held.fields, **held.lines}
    names = [name for name in span.observed.lanes if name in lags]
    if not names:
        return
    none = Lane.constant(0, span.stimulus.first)
    parts = []
    for name in names:
        lanes = (
            span.observed.lanes[name],
            span.observed.unknown[name],
            span.observed.undecided.get(name, none),
        )
        parts.append((name, [lane.delayed(-lags[name]) for lane in lanes]))
    begins = [np.array([max(found.first, int(p[1][0].cycle[0]))]) for p in parts]
    cycles = np.unique(np.concatenate([*begins, *(lane.cycle for _, p in parts for lane in p)]))
    shown, mask = np.zeros((2, len(cycles)), np.int64)
    for name, (lane, unknown, undecided) in parts:
        bits, lsb = _place(name, layout)
        own = cycles >= max(found.first, int(lane.cycle[0]))
        value = np.where(own, lane.at(cycles), 0).astype(np.int64)
        x_bits = np.where(own, unknown.at(cycles), 0).astype(np.int64)
        open_bits = np.where(own, undecided.at(cycles), 0xFFFFFFFF).astype(np.int64)
        counts = bits & ~(open_bits << lsb)
        shown |= (value << lsb) & bits
        shown |= np.where((x_bits << lsb) & counts, NEVER_SHOWN, 0)
        mask |= counts | np.where((x_bits << lsb) & counts, NEVER_SHOWN, 0)
    kept = cycles >= found.first
    for cycle, value, counts in zip(
        cycles[kept].tolist(), shown[kept].tolist(), mask[kept].tolist(), strict=True
    ):
        found.at.setdefault(cycle, AtEdge()).shown = (value, counts)


def _place(name: str, layout: Layout) -> tuple[int, int]:
    """Return the bits of a field or line among all, and the lowest of them."""
    if name in LINE_LSB:
        return 1 << LINE_LSB[name], LINE_LSB[name]
    return layout.mask_of(name), 0 if name == UNUSED else layout[name].lsb


def _add_reads(found: RecordedEdges, given: CaptureMap, layout: Layout, reads: Reads) -> None:
    """Add what reads returned, in the cycles in which the model shows it."""
    held = given.held().fields
    for lag in sorted(set(held.values())):
        bits = 0
        for name in (n for n, own in held.items() if own == lag):
            bits |= layout.mask_of(name)
        mine = reads.since(found.first + lag + 1)
        x_bits = mine.unknown & mine.decided & np.uint16(bits)
        for cycle, value, decided, unknown in zip(
            (mine.cycle - 1 - lag).tolist(),
            mine.value.tolist(),
            (mine.decided & np.uint16(bits)).tolist(),
            x_bits.tolist(),
            strict=True,
        ):
            edge = found.at.setdefault(cycle, AtEdge())
            never = NEVER_SHOWN if unknown else 0
            was, counted = edge.once
            edge.once = (was | value & decided | never, counted | decided | never)


def _add_moves(found: RecordedEdges, slots: Slots, stimulus: Stimulus, moved: Moved) -> None:
    """Add to each slot of a span what it moved, or that it moved nothing."""
    edge = slots.next_edge(stimulus.first)
    while edge < stimulus.end:
        at = found.at.setdefault(edge, AtEdge())
        at.slot = True
        at.once = (at.once[0], at.once[1] | MOVED)
        edge = slots.next_edge(edge + 1)
    moves, unknown = moved
    rows = zip(
        moves.cycle.tolist(), moves.word.tolist(), moves.store.tolist(), unknown.tolist(),
        strict=True,
    )  # fmt: skip
    for cycle, word, store, x_bits in rows:
        at = found.at.setdefault(cycle, AtEdge(slot=True))
        shown = MOVED | (STORED if store else 0) | word << WORD_LSB
        never = NEVER_SHOWN if x_bits and store else 0
        at.once = (at.once[0] | shown | never, at.once[1] | MOVE | never)
        at.slot = True
