"""The picture of a run: every lane of one revolution, model, core and where they differ."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.block.registers import RegisterBlock
from refmodel.engine.cause import Values, describe
from refmodel.engine.compare import CHANNEL_BIT, MEMORY
from refmodel.engine.edges import Edge, edges
from refmodel.engine.finding import Shown
from refmodel.engine.late import may_show
from refmodel.ground.bus import WRITTEN, reads
from refmodel.ground.clauses import CLAUSE_OF, says
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.moves import Moves
from refmodel.profile import Profile
from refmodel.report.page.encode import encode, encode_cycles, encode_lane
from refmodel.report.result import Scope
from refmodel.report.traffic import phase_errors, reads_held, wrong_moves
from refmodel.report.waves import COUNTERS, field_width

MOST_EDGES = 250_000  # a page stays small and quick; more is in the VCD and in `cellstep trace`
ORDER = ("data", "byte_ready", "sync_equal", "dma_active", "writing", UNUSED)
PHASE_STEPS = 100  # of a cycle, in which the page has phase errors
FROM_LANES = Values("{window}", "{sync_word}", "{data}")  # the page fills in what a lane shows


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
        text = describe(edge, FROM_LANES)
        self.cause.append(self.texts.setdefault(text, len(self.texts)))

    def lane(self, name: str) -> Lane:
        """Return a register's changes."""
        return Lane.of(np.array(self.cycle, np.int64), np.array(self.inner[name], np.uint32))


def picture(shown: Shown, scope: Scope, around: int | None = None) -> Picture:
    """Return the picture of a span; if it is too long, of the part around a cycle."""
    first, end = _window(shown, around)
    stepped = _Stepped(scope.profile, shown, first, end)
    lanes = list(_lanes(shown, scope, first, end))
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
        "lanes": lanes,
        "reads": _reads(shown, scope, first, end),
        "writes": _writes(shown, first, end),
        "memory": _memory(shown, first, end),
        "pulses": _pulses(shown, first, end),
        "clauses": {name: says(name) for name in sorted(set(CLAUSE_OF.values()))},
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
        model = clipped(every[name].delayed(lag), first, end)
        width = field_width(name)
        lane = {
            "name": name,
            "clause": CLAUSE_OF.get(name, ""),
            "digits": 1 if name in COUNTERS else (width + 3) // 4 if width > 1 else 0,
            "model": encode_lane(model, first),
        }
        if name in observed.lanes:
            core = clipped(observed.lanes[name], first, end)
            unknown = clipped(observed.unknown[name], first, end)
            wrong = wrong_lane(shown, scope, name, first, end)
            lane |= {"core": encode_lane(core, first), "unknown": encode_lane(unknown, first)}
            lane |= {"differs": encode_lane(wrong, first), "waived": name in scope.waived}
        yield lane


def wrong_lane(shown: Shown, scope: Scope, name: str, first: int, end: int) -> Lane:
    """Return 1 in the cycles of a span in which a lane of the core is a mismatch, else 0."""
    every, observed = shown.expected.lanes | shown.expected.lines, shown.observed
    lag = scope.lags.get(name, 0)
    may = may_show(every[name], lag, shown.stimulus.reset_begins)
    may = may.each(partial(clipped, first=first, end=end))
    undecided = observed.undecided.get(name, Lane.constant(0, first))
    lanes = (observed.lanes[name], observed.unknown[name], undecided)
    core, unknown, open_bits = (clipped(lane, first, end) for lane in lanes)
    since = max(shown.compared_from, shown.stimulus.first + lag)
    begin = [min(max(since, first), end - 1)]
    cycles = np.unique(
        np.concatenate((may.cycle, core.cycle, unknown.cycle, open_bits.cycle, begin))
    )
    differ = may.apart(cycles, core.at(cycles), unknown.at(cycles), ~open_bits.at(cycles))
    return Lane.of(cycles, (differ != 0) & (cycles >= since))


def clipped(lane: Lane, first: int, end: int) -> Lane:
    """Return the part of a lane that is shown; before it begins it has its first value."""
    if not len(lane.cycle):
        return Lane.constant(0, first)
    if int(lane.cycle[0]) > first:
        lane = Lane.of(np.concatenate(([first], lane.cycle)), np.append(lane.value[:1], lane.value))
    return lane.between(first, end)


def _reads(shown: Shown, scope: Scope, first: int, end: int) -> dict[str, Any]:
    """Return the reads of status: edge, both words, and the edges of those that differ."""
    held = reads_held(shown, scope)
    part = _part(held.cycle, first, end)
    cycles = held.cycle[part]
    return {
        "c": encode_cycles(cycles, first),
        "v": encode(held.model[part]),
        "core": encode(held.core[part]),
        "wrong": encode_cycles(cycles[held.wrong[part]], first),
        "clause": CLAUSE_OF["byte_ready"],
    }


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


def _memory(shown: Shown, first: int, end: int) -> dict[str, Any] | None:
    """Return the words moved to and from memory; nothing where there are none."""
    model, core = shown.expected.moves, shown.moves
    if not len(model) and (core is None or not len(core)):
        return None
    drawn: dict[str, Any] = {"model": _moved(model, first, end), "clause": CLAUSE_OF[MEMORY]}
    if core is not None:
        wrong = wrong_moves(model, core)
        drawn["core"] = _moved(core, first, end)
        drawn["wrong"] = encode_cycles(wrong[_part(wrong, first, end)], first)
    return drawn


def _moved(moves: Moves, first: int, end: int) -> dict[str, Any]:
    part = _part(moves.cycle, first, end)
    return {
        "c": encode_cycles(moves.cycle[part], first),
        "v": encode(moves.word[part]),
        "place": encode(moves.place[part]),
        "store": encode(moves.store[part]),
    }


def _pulses(shown: Shown, first: int, end: int) -> dict[str, Any] | None:
    """Return the flux pulses with their phase errors, in 1/100 cycles above the least one."""
    if not len(shown.stimulus.pulses):
        return None
    cycles, error = phase_errors(shown)
    part = _part(cycles, first, end)
    steps = np.round(error[part] * PHASE_STEPS).astype(np.int64)
    least = int(steps.min()) if len(steps) else 0
    return {
        "c": encode_cycles(cycles[part], first),
        "v": encode(steps - least),
        "least": least,
        "steps": PHASE_STEPS,
    }
