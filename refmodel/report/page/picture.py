"""The picture of a run: every lane of one revolution, model, core and where they differ."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refmodel.block.fields import FIELD_NAMES, STATUS_WIDTH, UNUSED
from refmodel.block.registers import RegisterBlock
from refmodel.engine.cause import describe
from refmodel.engine.compare import CHANNEL_BIT, differences, first_read_mismatch
from refmodel.engine.edges import Edge, edges
from refmodel.engine.finding import Shown
from refmodel.ground.bus import WRITTEN, reads, reads_status
from refmodel.ground.clauses import CLAUSE_OF
from refmodel.ground.lane import Cycles, Lane
from refmodel.profile import Profile
from refmodel.report.page.encode import encode, encode_cycles, encode_lane
from refmodel.report.result import Scope
from refmodel.report.waves import COUNTERS, field_width

MOST_EDGES = 250_000  # a page stays small and quick; more is in the VCD and in `cellstep trace`
ORDER = ("data", "byte_ready", "sync_equal", "dma_active", "writing", UNUSED)
# What `describe` says, with the words that other lanes show left out.
VALUES = (
    (re.compile(r"window 0x[0-9A-F]{4}"), "window {window}"),
    (re.compile(r"sync_word(,? now)? 0x[0-9A-F]{4}"), r"sync_word\1 {sync_word}"),
    (re.compile(r"sync_word, now 0x[0-9A-F]{4}"), "sync_word, now {sync_word}"),
    (re.compile(r"the byte 0x[0-9A-F]{2}"), "the byte {data}"),
)


@dataclass(frozen=True)
class Picture:
    """A run's lanes ready for a page; `note` says what had to be left out."""

    data: dict[str, Any]
    note: str


class _Stepped:
    """What stepping the model through a span shows: registers inside, and what each edge did."""

    def __init__(self, profile: Profile, shown: Shown, first: int, end: int) -> None:
        self.cycle: list[int] = []
        self.inner: dict[str, list[int]] = {"window": [], "bit_count": [], "sync_word": []}
        self.cause: list[int] = []
        self.texts: dict[str, int] = {}
        block = RegisterBlock(profile)
        block.restore(shown.state)
        for edge in edges(block, shown.stimulus):
            if edge.cycle >= end:
                break
            if edge.cycle < first:
                self.cycle, self.cause = [], []  # only the state at `first` is needed
                for values in self.inner.values():
                    values.clear()
            self._take(edge, max(edge.cycle, first))

    def _take(self, edge: Edge, cycle: int) -> None:
        self.cycle.append(cycle)
        for name, values in self.inner.items():
            values.append(getattr(edge.after, name))
        text = describe(edge)
        for pattern, put in VALUES:
            text = pattern.sub(put, text)
        self.cause.append(self.texts.setdefault(text, len(self.texts)))

    def lane(self, name: str) -> Lane:
        """Return a register's changes."""
        return Lane.of(np.array(self.cycle, np.int64), np.array(self.inner[name], np.uint32))


def picture(shown: Shown, scope: Scope, around: int | None = None) -> Picture:
    """Return the picture of a span; if it is too long, of the part around a cycle."""
    first, end = _window(shown, around)
    stepped = _Stepped(scope.profile, shown, first, end)
    data = {
        "first": first,
        "end": end,
        "cycleNs": float(scope.profile.cycle_ns),
        "bitCycles": float(scope.profile.cycles_per_bit),
        "places": list(_places(shown, first, end)),
        "bits": _bits(shown, first, end),
        "inner": [
            _inner(stepped, "window", 4, first),
            _inner(stepped, "sync_word", 4, first),
            _inner(stepped, "bit_count", 1, first),
        ],
        "lanes": list(_lanes(shown, scope, first, end)),
        "reads": _reads(shown, scope, first, end),
        "writes": _writes(shown, first, end),
        "edges": encode_cycles(np.array(stepped.cycle, np.int64), first),
        "causes": encode(np.array(stepped.cause, np.int64)),
        "texts": list(stepped.texts),
    }
    whole = (first, end) == (shown.stimulus.first, shown.stimulus.end)
    note = "" if whole else f"Too long to draw whole: cycles {first} to {end - 1} are shown."
    return Picture(data, note)


def _window(shown: Shown, around: int | None) -> tuple[int, int]:
    """Return the first cycle and the one after the last: all, or what is not too many edges."""
    stimulus = shown.stimulus
    cycles = np.sort(np.concatenate((stimulus.bit_cycle, stimulus.access_cycle)))
    if len(cycles) <= MOST_EDGES:
        return stimulus.first, stimulus.end
    at = int(np.searchsorted(cycles, stimulus.first if around is None else around))
    start = min(max(0, at - MOST_EDGES // 2), len(cycles) - MOST_EDGES)
    last = int(cycles[start + MOST_EDGES - 1])
    return (int(cycles[start]) if start else stimulus.first), last + 1


def _places(shown: Shown, first: int, end: int) -> Iterator[tuple[int, str]]:
    """Yield the cycle each place begins in, from the one that lies under cycle `first` on."""
    starts = [place for place in shown.places if place[0] < end]
    before = [place for place in starts if place[0] <= first][-1:]
    yield from ((max(first, cycle), name) for cycle, name in before)
    yield from (place for place in starts if place[0] > first)


def _bits(shown: Shown, first: int, end: int) -> dict[str, Any]:
    part = _part(shown.stimulus.bit_cycle, first, end)
    cycles = shown.stimulus.bit_cycle[part]
    return {"c": encode_cycles(cycles, first), "v": encode(shown.stimulus.bit[part])}


def _part(cycles: Cycles, first: int, end: int) -> slice:
    return slice(*np.searchsorted(cycles, (first, end)).tolist())


def _inner(stepped: _Stepped, name: str, digits: int, first: int) -> dict[str, Any]:
    model = encode_lane(stepped.lane(name), first)
    return {"name": name, "clause": CLAUSE_OF[name], "digits": digits, "model": model}


def _lanes(shown: Shown, scope: Scope, first: int, end: int) -> Iterator[dict[str, Any]]:
    """Yield the fields of status and the output lines, as model, core and difference."""
    every, observed = shown.expected.lanes | shown.expected.lines, shown.observed
    names = [*ORDER, *shown.expected.lines]
    for name in sorted(names, key=lambda name: name != CHANNEL_BIT):
        lag = scope.lags.get(name, 0)
        if name not in observed.lanes and len(every[name].cycle) < 2 and name not in FIELD_NAMES:
            continue  # does nothing, and is not compared
        model = _clipped(every[name].delayed(lag), first, end)
        width = field_width(name)
        lane = {
            "name": name,
            "clause": CLAUSE_OF.get(name, ""),
            "digits": 1 if name in COUNTERS else (width + 3) // 4 if width > 1 else 0,
            "model": encode_lane(model, first),
        }
        if name in observed.lanes:
            core = _clipped(observed.lanes[name], first, end)
            unknown = _clipped(observed.unknown[name], first, end)
            since = max(shown.compared_from, shown.stimulus.first + lag)
            wrong = differences(model, core, unknown, since)
            lane |= {"core": encode_lane(core, first), "unknown": encode_lane(unknown, first)}
            lane |= {"differs": encode_lane(wrong, first), "waived": name in scope.waived}
        yield lane


def _clipped(lane: Lane, first: int, end: int) -> Lane:
    """Return the part of a lane that is shown; before it begins it has its first value."""
    if not len(lane.cycle):
        return Lane.constant(0, first)
    if int(lane.cycle[0]) > first:
        lane = Lane.of(np.concatenate(([first], lane.cycle)), np.append(lane.value[:1], lane.value))
    return lane.between(first, end)


def _reads(shown: Shown, scope: Scope, first: int, end: int) -> dict[str, Any]:
    """Return the reads of status: edge, what the model returns, and whether the core differs."""
    stimulus, reads = shown.stimulus, shown.reads
    status = reads_status(stimulus.access_kind)
    made = stimulus.access_cycle[status]
    inside = _part(made, first, end)
    cycles = made[inside]
    model = _expected_words(shown, scope, cycles) & stimulus.access_mask[status][inside]
    core = dict(zip(reads.cycle.tolist(), reads.value.tolist(), strict=True))
    returned = np.array(
        [core.get(c, m) for c, m in zip(cycles.tolist(), model.tolist(), strict=True)], np.int64
    )
    return {
        "c": encode_cycles(cycles, first),
        "v": encode(model),
        "core": encode(returned),
        "wrong": _wrong_reads(shown, scope, first, end),
        "digits": STATUS_WIDTH // 4,
    }


def _expected_words(shown: Shown, scope: Scope, cycles: Cycles) -> NDArray[np.int64]:
    """Return status as reads at these edges must return it, each field as late as it may be."""
    words = np.zeros(len(cycles), np.int64)
    for field in scope.profile.status.fields:
        lane = shown.expected.lanes[field.name]
        at = np.maximum(cycles - 1 - scope.lags[field.name], lane.cycle[0])
        words |= lane.at(at).astype(np.int64) << field.lsb
    return words


def _wrong_reads(shown: Shown, scope: Scope, first: int, end: int) -> list[int]:
    """Return the edge of the first read from which on the core's differ, if any does."""
    fields = {n: lag for n, lag in scope.lags.items() if n not in scope.waived and n in ORDER}
    part = shown.reads.since(max(first, shown.expected.first + 1 + max(scope.lags.values())))
    wrong = first_read_mismatch(shown.expected.lanes, part, scope.profile.status, fields)
    return [wrong.cycle] if wrong and wrong.cycle < end else []


def _writes(shown: Shown, first: int, end: int) -> dict[str, Any]:
    """Return the writes: edge, value, and to which register."""
    stimulus = shown.stimulus
    written = np.flatnonzero(~reads(stimulus.access_kind))
    part = written[_part(stimulus.access_cycle[written], first, end)]
    kinds = stimulus.access_kind[part].tolist()
    return {
        "c": encode_cycles(stimulus.access_cycle[part], first),
        "v": encode(stimulus.access_value[part]),
        "register": [WRITTEN.get(kind, "an unused address") for kind in kinds],
    }
