"""A capture as stimulus and evidence: what reached the controller at each edge, and what it showed.

It is yielded span by span, so that a capture of any length is held only in part. Where an input is
unknown, or nothing was recorded, the run ends, and what follows is a run that begins in the middle.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from refmodel.block.fields import UNUSED
from refmodel.capture.accesses import NO_ACCESSES, AccessReader
from refmodel.capture.capture_map import LEVELS, LINES, STATUS, CaptureMap, Role
from refmodel.capture.clocked import SampledEdges
from refmodel.capture.doubts import Doubts
from refmodel.capture.memory_words import MemoryWords, as_pulses
from refmodel.engine.evidence import ALL_BITS, Moved, Observed, Reads
from refmodel.ground.lane import Cycles, Lane, cycles_up, rises_of
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.word import WORD
from refmodel.media.mfm import Bits
from refmodel.profile import Profile
from refmodel.separator import leap
from refmodel.separator.choose import make_separator
from refmodel.separator.interface import Separator

SHORTEST = 64  # cycles of a run worth a look
WATCHED = ("reset", "strobe", "bus_read", "bus_select", "bus_write", *LEVELS)


@dataclass(frozen=True)
class RunSpan:
    """A span of a run: what arrived, and what was shown. The first of a run is `fresh`."""

    stimulus: Stimulus
    observed: Observed
    reads: Reads
    fresh: bool
    moved: Moved | None = None


@dataclass
class RecordedEvidence:
    """The evidence of one span after the other, in step with `stimuli`."""

    spans: Iterator[RunSpan]
    now: RunSpan | None = field(default=None, init=False)

    def stimuli(self) -> Iterator[Stimulus]:
        """Yield what arrived, span by span."""
        for span in self.spans:
            self.now = span
            yield span.stimulus

    def observed(self, first: int, end: int) -> Observed:
        """Return what was shown in the span at hand."""
        assert self.now is not None
        assert (first, end) == (self.now.stimulus.first, self.now.stimulus.end)
        return self.now.observed

    def reads(self, stimulus: Stimulus) -> Reads:
        """Return what the span's reads of status returned."""
        assert self.now is not None
        del stimulus
        return self.now.reads

    def moves(self, end: int) -> Moved | None:
        """Return the words moved in the span, None if they were not recorded."""
        assert self.now is not None
        del end
        return self.now.moved


class RecordedRun:
    """Turns samples into spans of runs."""

    def __init__(self, given: CaptureMap, roles: dict[str, Role], profile: Profile) -> None:
        self._map = given
        self._roles = roles
        self._layout = profile.status
        self._profile = profile
        self._separator: Separator | None = None
        self._value: dict[str, Lane] = {}
        self._unknown: dict[str, Lane] = {}
        self._doubts = Doubts(given, profile)
        self._dark = Lane.constant(0)
        self._done = 0  # edges that have been handed on
        self._begun = False  # a run is under way
        self._reader = AccessReader(given)
        self._words = MemoryWords(given.memory is not None)
        self.lost_edges = 0
        self.cycles = 0

    def spans(self, samples: Iterator[SampledEdges]) -> Iterator[RunSpan]:
        """Yield the spans of all runs in order."""
        for sampled in samples:
            self._take(sampled)
            ready = sampled.end - self._behind
            if ready > self._done:
                yield from self._until(ready)

    @property
    def _behind(self) -> int:
        """How many edges later than a cycle all is known that is shown of it."""
        bus = self._map.bus
        latency = bus.read_latency if bus is not None else 0
        deepest = max(self._map.disk.latency, self._map.inputs.latency)
        waits = bus.waits if bus is not None else 0
        return max(1, latency) + waits + max(deepest, *(bus.depths if bus else (0, 0)))

    def _take(self, sampled: SampledEdges) -> None:
        """Append samples to what is held."""
        value, unknown = sampled.value, sampled.unknown
        for name, role in self._roles.items():
            lane, x_bits = _joined(role, value, unknown)
            held = self._value.get(name)
            self._value[name] = lane if held is None else held.then(lane)
            self._unknown[name] = x_bits if held is None else self._unknown[name].then(x_bits)
            unsure = [sampled.undecided[s] for s in role.signals if s in sampled.undecided]
            if unsure:
                self._doubts.add(name, unsure)
        self._doubts.value = self._value
        self._dark = sampled.dark if not self._done else self._dark.then(sampled.dark)

    def _until(self, ready: int) -> Iterator[RunSpan]:
        """Yield the spans up to an edge, and drop what they were made of."""
        lost = self._lost(self._done, ready)
        for begin, end, gone in _stretches(lost, self._done, ready):
            if gone:
                self.lost_edges += end - begin
                self._begun = False
                self._reader.forget()
                continue
            fresh = not self._begun
            if fresh and end < ready and end - begin < SHORTEST:
                self.lost_edges += end - begin
                continue
            self._begun = True
            self.cycles += end - begin
            cuts = [begin, *self._restarts(begin, end), end]
            for n, (first, last) in enumerate(pairwise(cuts)):
                yield self._span(first, last, fresh or n > 0)
        self._done = ready
        keep = max(0, ready - self._behind - self._doubts.lasts)
        self._value = {n: _kept(lane, keep) for n, lane in self._value.items()}
        self._unknown = {n: _kept(lane, keep) for n, lane in self._unknown.items()}
        self._doubts.forget(keep)
        self._doubts.value = self._value
        self._dark = _kept(self._dark, keep)

    def _restarts(self, first: int, end: int) -> list[int]:
        """Return where reset begins again: what memory has next is counted from there."""
        if self._map.memory is None or "reset" not in self._value:
            return []
        lane = self._value["reset"]
        return [at for at in rises_of(lane, first, end).tolist() if at > max(first, lane.cycle[0])]

    def _lost(self, first: int, end: int) -> Lane:
        """Return 1 at edges at which an input that counts is not known."""
        zero = Lane.constant(0, first)

        def part(lanes: dict[str, Lane], name: str) -> Lane:
            lane = lanes.get(name)
            return zero if lane is None else lane.between(first, end)

        x_bits = [part(self._unknown, name) for name in WATCHED]
        strobe, bit = part(self._value, "strobe"), part(self._unknown, "value")
        dark = self._dark.between(first, end)
        cycles = np.unique(np.concatenate([x.cycle for x in (*x_bits, strobe, bit, dark, zero)]))
        lost = dark.at(cycles) != 0
        for lane in x_bits:
            lost |= lane.at(cycles) != 0
        lost |= (strobe.at(cycles) != 0) & (bit.at(cycles) != 0)
        writes = ("bus_write", "bus_select")
        close = self._doubts.collisions(first, end, writes), self._doubts.tails(first, end, writes)
        return _either(Lane.of(cycles, lost), np.concatenate(close), first, end)

    def _span(self, first: int, end: int, fresh: bool) -> RunSpan:
        """Return the span of edges `first` .. `end - 1`."""
        bit_cycle, bit = self._bits(first, end, fresh)
        accesses = NO_ACCESSES
        if self._map.bus is not None:
            tails = self._doubts.tails(first, end, ("bus_read", "bus_write", "bus_select"))
            accesses = self._reader.read(self._value, self._unknown, first, end, fresh, tails)
        if fresh:
            self._words = MemoryWords(self._map.memory is not None)
        moved = self._words.moved(self._value, self._unknown, first, end)
        late = self._map.inputs.late
        levels = {
            n: _later(self._value[n], late).between(first, end) for n in LEVELS if n in self._value
        }
        stimulus = Stimulus(
            first,
            end - first,
            bit_cycle=bit_cycle,
            bit=bit,
            access_cycle=accesses.cycle,
            access_kind=accesses.kind,
            access_mask=accesses.mask,
            access_value=accesses.value,
            levels=levels,
            resets=self._resets(first, end),
            reset_before=0 if fresh else self._reset_at(first - 1),
            memory=self._words.memory,
        )
        reads = self._unsure_reads(accesses.reads(), first, end)
        return RunSpan(stimulus, self._observed(first, end), reads, fresh, moved)

    def _unsure_reads(self, reads: Reads, first: int, end: int) -> Reads:
        """Return reads with nothing decided of those whose edge, or what they show, is not sure."""
        unsure = self._doubts.at("bus_read_data")
        if unsure is None or not len(reads.cycle):
            return reads
        held = np.zeros(len(reads.cycle), np.uint16) if reads.undecided is None else reads.undecided
        held = np.where(np.isin(reads.cycle, unsure), np.uint16(WORD), held)
        either = np.isin(reads.cycle - 1, self._doubts.doubtful(first, end))
        ready = np.uint16(self._layout["byte_ready"].mask)
        return replace(reads, undecided=np.where(either, held | ready, held).astype(np.uint16))

    def _bits(self, first: int, end: int, fresh: bool) -> tuple[Cycles, Bits]:
        """Return the channel bits that count at edges `first` .. `end - 1`."""
        depth = self._map.disk.latency
        if "strobe" not in self._roles:
            return self._separated(first, end, fresh)
        strobes = self._edges_up("strobe", first - depth, end - depth)
        if fresh:
            strobes = strobes[strobes >= first]
        bit = self._value["value"].at(strobes) if len(strobes) else np.empty(0)
        return strobes + depth, bit.astype(np.uint8)

    def _separated(self, first: int, end: int, fresh: bool) -> tuple[Cycles, Bits]:
        """Return the channel bits the profile's separator makes of the recorded pulses."""
        profile, depth = self._profile, self._map.disk.latency
        if fresh or self._separator is None:
            part = profile.separator
            self._separator = make_separator(part.use, part, profile.cycles_per_bit)
            self._separator.cycle = first - 1
        lane = self._value["flux"]
        before = np.concatenate(([1], lane.value[:-1]))
        pulses = lane.cycle[(lane.value != 0) & (before == 0)] + depth
        read = leap.run(
            self._separator, pulses[(pulses > self._separator.cycle) & (pulses < end)], end
        )
        inside = read.cycle >= first
        return read.cycle[inside], read.bit[inside]

    def _edges_up(self, name: str, first: int, end: int) -> Cycles:
        """Return the edges at which a line is active."""
        lane = self._value.get(name)
        if lane is None or end <= first:
            return np.empty(0, np.int64)
        if self._map.clock.sampled:
            return rises_of(lane, first, end)
        return cycles_up(lane.between(max(first, int(lane.cycle[0])), end), end)

    def _resets(self, first: int, end: int) -> tuple[tuple[int, int], ...]:
        lane = self._value.get("reset")
        if lane is None:
            return ()
        part = lane.between(first, end)
        stops = np.append(part.cycle[1:], end)
        spans = zip(part.cycle.tolist(), stops.tolist(), part.value.tolist(), strict=True)
        return tuple((begin, stop) for begin, stop, level in spans if level)

    def _reset_at(self, edge: int) -> int:
        lane = self._value.get("reset")
        return 0 if lane is None or edge < int(lane.cycle[0]) else int(lane.at(edge))

    def _observed(self, first: int, end: int) -> Observed:
        """Return what the lanes showed in cycles `first` .. `end - 1`: as sampled an edge later."""
        lanes, unknown, undecided = {}, {}, {}
        dark = self._dark.between(first + 1, end + 1).delayed(-1)
        for name, role in self._shown.items():
            whole = as_pulses(self._value[role], self._map.lines, name)
            value = whole.between(first + 1, end + 1).delayed(-1)
            x_bits = self._unknown[role].between(first + 1, end + 1).delayed(-1)
            lsb, mask = self._slice(name, role)
            lanes[name] = Lane.of(value.cycle, value.value >> np.uint32(lsb) & np.uint32(mask))
            never = _none_of(x_bits, dark)
            unknown[name] = Lane.of(x_bits.cycle, x_bits.value >> np.uint32(lsb) & np.uint32(mask))
            unsure = self._doubts.at(role)
            if never.value.any() or (unsure is not None and len(unsure)):
                undecided[name] = _with(never, unsure, first, end)
        doubtful = self._doubts.doubtful(first, end)
        if len(doubtful) and "byte_ready" in lanes:
            held = undecided.get("byte_ready", Lane.constant(0, first))
            undecided["byte_ready"] = _with(held, doubtful + 1, first, end)
        return Observed(lanes, unknown, undecided)

    @property
    def _shown(self) -> dict[str, str]:
        """The role that shows each field and line."""
        lines = {name: name for name in LINES if name in self._roles}
        return {**self._map.observed, **lines}

    def _slice(self, name: str, role: str) -> tuple[int, int]:
        """Return the lowest bit and the mask of a field in its role."""
        if role != STATUS:
            return 0, 0xFF if name == "data" else 1
        if name == UNUSED:
            return 0, self._layout.unused_mask
        return self._layout[name].lsb, self._layout[name].mask >> self._layout[name].lsb


def _either(lost: Lane, edges: Cycles, first: int, end: int) -> Lane:
    """Return a level that is also up at some edges."""
    edges = edges[(edges >= first) & (edges < end)]
    if not len(edges):
        return lost
    cycles = np.unique(np.concatenate((lost.cycle, edges, edges + 1)))
    cycles = cycles[cycles < end]
    return Lane.of(cycles, (lost.at(cycles) != 0) | np.isin(cycles, edges))


def _later(lane: Lane, cycles: int) -> Lane:
    """Return a lane whose changes come later; it still begins where it did."""
    return Lane.of(np.append(lane.cycle[:1], lane.cycle[1:] + cycles), lane.value)


def _none_of(x_bits: Lane, dark: Lane) -> Lane:
    """Return all bits where a signal had no value yet, or nothing was recorded."""
    cycles = np.union1d(x_bits.cycle, dark.cycle)
    never = (x_bits.at(cycles) == 0xFFFFFFFF) | (dark.at(cycles) != 0)
    return Lane.of(cycles, np.where(never, ALL_BITS, 0))


def _joined(
    role: Role, value: Mapping[str, Lane], unknown: Mapping[str, Lane]
) -> tuple[Lane, Lane]:
    """Return a role's value and unknown bits, made of its signals."""
    values, x_lanes = ([lanes[name] for name in role.signals] for lanes in (value, unknown))
    if len(values) == 1:
        lane, x_bits = values[0], x_lanes[0]
    else:
        lane, x_bits = _vector(values), _vector([_one_bit(v) for v in x_lanes])
    if role.active_low:
        lane = Lane.of(lane.cycle, lane.value ^ np.uint32(1))
    return lane, x_bits


def _one_bit(lane: Lane) -> Lane:
    return Lane.of(lane.cycle, lane.value & np.uint32(1))


def _vector(lanes: list[Lane]) -> Lane:
    """Return single bits together, the highest first."""
    cycles = np.unique(np.concatenate([lane.cycle for lane in lanes]))
    value = np.zeros(len(cycles), np.uint32)
    for lane in lanes:
        value = value << np.uint32(1) | (lane.at(cycles) & np.uint32(1))
    return Lane.of(cycles, value)


def _stretches(lane: Lane, first: int, end: int) -> Iterator[tuple[int, int, bool]]:
    """Yield where a level begins and ends, and whether it is up."""
    del first
    stops = np.append(lane.cycle[1:], end)
    yield from zip(lane.cycle.tolist(), stops.tolist(), (lane.value != 0).tolist(), strict=True)


def _kept(lane: Lane, first: int) -> Lane:
    """Return a lane from a cycle on."""
    at = max(0, int(np.searchsorted(lane.cycle, first, side="right")) - 1)
    return Lane(lane.cycle[at:], lane.value[at:])


def _with(never: Lane, unsure: Cycles | None, first: int, end: int) -> Lane:
    """Return what is not decided: cycles before the first value, and those of unsure samples."""
    if unsure is None or not len(unsure):
        return never
    cycles = unsure - 1
    cycles = cycles[(cycles >= first) & (cycles < end)]
    edges = np.unique(np.concatenate((never.cycle, cycles, cycles + 1)))
    edges = edges[edges < end]
    value = np.where(np.isin(edges, cycles), ALL_BITS, never.at(edges))
    return Lane.of(edges, value)
