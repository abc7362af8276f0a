"""The spans of a log, piece by piece: what reached the controller, and which reads are decided."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.capture.capture_map import CaptureMap
from refmodel.capture.knowledge import begin_state
from refmodel.capture.log import Log
from refmodel.capture.recorded_run import RunSpan
from refmodel.engine.evidence import Observed, Reads
from refmodel.engine.timeline import Timeline
from refmodel.ground.bus import READ_STATUS, WRITE_SYNC_WORD
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.word import WORD
from refmodel.profile import Profile
from refmodel.separator import leap
from refmodel.separator.choose import make_separator
from refmodel.separator.interface import Separator

READY = "byte_ready"
PIECE = 2_000_000  # cycles looked at together
MEMORY = np.zeros(1 << 16, np.uint16)


@dataclass(frozen=True)
class Accessed:
    """Accesses with the edge each acts at: no two on one."""

    cycle: Cycles
    log: Log

    def part(self, which: slice) -> Accessed:
        """Return some of them."""
        return Accessed(self.cycle[which], self.log.part(which))

    def then(self, later: Accessed) -> Accessed:
        """Return these and later ones."""
        cycle = np.concatenate((self.cycle, later.cycle))
        return Accessed(cycle, self.log.then(later.log))


@dataclass(frozen=True)
class LogTiming:
    """What spans of a log are made with.

    `pulses` are the edges at which pulses of the flux are seen, `tolerance` the edges by which an
    access may be off.
    """

    given: CaptureMap
    profile: Profile
    pulses: Cycles
    tolerance: int
    wait_for_sync: int
    phase: int  # the byte count at the start


@dataclass
class LogSpans:
    """Makes the spans of a log, one after the other; `unsure` counts reads left open."""

    timing: LogTiming
    unsure: int = 0
    _first: int = 0
    _last_read: int | None = None
    _tied: bool = False
    _tails: dict[str, Cycles] = field(default_factory=dict)

    def __post_init__(self) -> None:
        part, profile = self.timing.profile.separator, self.timing.profile
        self._separator = make_separator(part.use, part, profile.cycles_per_bit)
        self._shown, self._ready = (begun(self.timing) for _ in range(2))

    def spans(self, pieces: Iterator[Accessed]) -> Iterator[RunSpan]:
        """Yield a span for each piece; it ends where accesses are farthest apart."""
        held = Accessed(np.empty(0, np.int64), Log.none())
        for piece in pieces:
            if len(held.cycle) > 1:
                cut = _widest_gap(held.cycle)
                between = int(held.cycle[cut - 1] + held.cycle[cut]) // 2
                yield self._span(held.part(slice(cut)), between + 1)
                held = held.part(slice(cut, None))
            held = held.then(piece)
        if len(held.cycle):
            yield self._span(held, int(held.cycle[-1]) + 2 + self.timing.tolerance)

    def _span(self, accessed: Accessed, end: int) -> RunSpan:
        """Return the span of some accesses, up to an edge."""
        cycle, log = accessed.cycle, accessed.log
        is_read = log.kind == READ_STATUS
        bit_cycle, bit = bits_until(self._separator, self.timing, end)
        stimulus = Stimulus(
            self._first,
            end - self._first,
            bit_cycle,
            bit,
            cycle,
            log.kind,
            np.full(len(cycle), WORD, np.uint16),
            np.where(is_read, np.uint16(0), log.value),
            _levels(self.timing, self._first),
            memory=MEMORY,
        )
        read = cycle[is_read]
        undecided = self._undecided(stimulus, read)
        self.unsure += int(np.count_nonzero(undecided))
        whole, none = np.full(len(read), WORD, np.uint16), np.zeros(len(read), np.uint16)
        fresh, self._first = self._first == 0, end
        reads = Reads(read, whole, log.value[is_read], none, undecided)
        return RunSpan(stimulus, Observed({}, {}), reads, fresh)

    def _undecided(self, stimulus: Stimulus, reads: Cycles) -> NDArray[np.uint16]:
        """Return the bits each read leaves open: those that change within the tolerance."""
        expected = self._shown.run(stimulus)
        near, layout = self.timing.tolerance, self.timing.profile.status
        undecided = np.zeros(len(reads), np.uint16)
        for name in (*FIELD_NAMES, UNUSED):
            if name == READY:
                changes = self._changes(name, _byte_ends(self._ready, stimulus))
                open_bits = self._ties(changes, reads)
            else:
                changes = self._changes(name, expected.lanes[name].cycle[1:])
                open_bits = _between(changes, reads - 1 - near, reads - 1 + near)
            undecided[open_bits] |= np.uint16(layout.mask_of(name))
        undecided[reads + near >= stimulus.end] = WORD  # what follows them is in the next span
        if len(reads):
            self._last_read = int(reads[-1])
        return undecided

    def _changes(self, name: str, changes: Cycles) -> Cycles:
        """Return the changes of a field, those of the span before that still count among them."""
        whole = np.concatenate((self._tails.get(name, changes[:0]), changes))
        since = self._first if self._last_read is None else self._last_read
        since -= 2 * self.timing.tolerance + 2
        self._tails[name] = whole[whole >= since]
        return whole

    def _ties(self, changes: Cycles, reads: Cycles) -> NDArray[np.bool_]:
        """Tell which reads may have come before a byte or behind it, or follow one that may."""
        near = self.timing.tolerance
        if not len(reads):
            return np.empty(0, bool)
        tied = _between(changes, reads - near, reads + near)
        before = -1 if self._last_read is None else self._last_read
        earlier = np.concatenate(([before], reads[:-1]))
        followed = np.concatenate(([self._tied], tied[:-1]))
        self._tied = bool(tied[-1])
        return np.asarray(tied | (followed & ~_between(changes, earlier + near, reads - near)))


def begun(timing: LogTiming) -> Timeline:
    """Return the model's timeline at the start of a log."""
    timeline = Timeline(timing.profile)
    timeline.state = begin_state(timing.given, timing.profile, timing.phase)
    return timeline


def bits_until(
    separator: Separator, timing: LogTiming, end: int
) -> tuple[Cycles, NDArray[np.uint8]]:
    """Return the next channel bits a separator makes of the flux, those that count before `end`."""
    depth = timing.given.disk.latency
    if end - depth <= separator.cycle + 1:
        return np.empty(0, np.int64), np.empty(0, np.uint8)
    begin, stop = np.searchsorted(timing.pulses, (separator.cycle + 1, end - depth))
    read = leap.run(separator, timing.pulses[begin:stop], end - depth)
    return read.cycle + depth, read.bit


def bytes_alone(timing: LogTiming, end: int) -> Lane:
    """Return the bytes of data up to an edge of the flux, as far as accesses do not matter."""
    part, profile = timing.profile.separator, timing.profile
    separator = make_separator(part.use, part, profile.cycles_per_bit)
    timeline = begun(timing)
    lanes = []
    for first in range(0, end, PIECE):
        stop = min(first + PIECE, end)
        bit_cycle, bit = bits_until(separator, timing, stop)
        levels = _levels(timing, first)
        stimulus = Stimulus(first, stop - first, bit_cycle, bit, levels=levels)
        lanes.append(timeline.run(stimulus).lanes["data"])
    return Lane.of(
        np.concatenate([lane.cycle for lane in lanes]),
        np.concatenate([lane.value for lane in lanes]),
    )


def _levels(timing: LogTiming, first: int) -> dict[str, Lane]:
    return {"wait_for_sync": Lane.constant(timing.wait_for_sync, first)}


def _widest_gap(cycle: Cycles) -> int:
    """Return before which of some accesses the widest gap of their second half is."""
    half = len(cycle) // 2
    return half + int(np.argmax(np.diff(cycle[half - 1 :])))


def _byte_ends(timeline: Timeline, stimulus: Stimulus) -> Cycles:
    """Return the edges that complete a byte: byte_ready rises at each when it is read at once."""
    keep = stimulus.access_kind >= WRITE_SYNC_WORD
    written = stimulus.access_cycle[keep]
    at_once = stimulus.bit_cycle + 1
    at_once = at_once[(at_once < stimulus.end) & ~np.isin(at_once, written)]
    cycle = np.concatenate((written, at_once))
    order = np.argsort(cycle, kind="stable")
    reads = len(at_once)

    def column(values: NDArray[np.integer], fill: int) -> NDArray[np.integer]:
        return np.concatenate((values[keep], np.full(reads, fill, values.dtype)))[order]

    again = Stimulus(
        stimulus.first,
        stimulus.cycles,
        stimulus.bit_cycle,
        stimulus.bit,
        cycle[order],
        column(stimulus.access_kind, int(READ_STATUS)).astype(np.uint8),
        column(stimulus.access_mask, WORD).astype(np.uint16),
        column(stimulus.access_value, 0).astype(np.uint16),
        stimulus.levels,
        memory=stimulus.memory,
    )
    ready = timeline.run(again).lanes[READY]
    return np.asarray(ready.cycle[ready.value != 0])


def _between(changes: Cycles, low: Cycles, high: Cycles) -> NDArray[np.bool_]:
    """Tell for each pair whether something changes from `low` to `high`, both included."""
    first = np.searchsorted(changes, low, side="left")
    return np.asarray(np.searchsorted(changes, high, side="right") > first)
