"""A log with its flux, opened: spans in which every read is decided as far as its time allows."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from refmodel.capture.capture_map import CaptureMap
from refmodel.capture.clocked import SampledEdges
from refmodel.capture.log import Log, LogFile, LogMap
from refmodel.capture.log_spans import Accessed, LogSpans, LogTiming, bytes_alone
from refmodel.capture.map_parts import BusPart, ClockPart, DiskPart
from refmodel.capture.recorded_run import RunSpan
from refmodel.ground.errors import InputError, UserError, reading
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.numbers import counted
from refmodel.ground.yamlfile import Document
from refmodel.host.addresses import Registers, StatusAddress, WordAddress
from refmodel.media.flux_list import Reading, read_flux
from refmodel.media.plausible import check_flux
from refmodel.profile import Profile, profile_named_in

PHASES = 8  # what the byte count can be at the start
TRIED = 100  # reads an offset is tried on, at least
LEAST_READS, MOST_READS = 30, 60  # at either end of a log whose drift is looked at
NEAR_BITS = 600  # channel bits, by half of which offsets are tried for it
FEWEST_FIT = 0.6  # of the bytes read, at an offset that is taken
DRIFTS = 3.0  # times the tolerance that an offset may move over a log, or by a channel bit


@dataclass
class Looked:
    """What a first look through a log keeps: when it begins and ends, and some of its reads.

    `spread` are reads at equal distances, `head` and `tail` the first and the last ones.
    """

    first_ns: float = 0.0
    last_ns: float = 0.0
    reads: int = 0
    head: Log = field(default_factory=Log.none)
    tail: Log = field(default_factory=Log.none)
    spread: Log = field(default_factory=Log.none)
    _every: int = 1

    @classmethod
    def through(cls, log: LogFile) -> Looked:
        """Look through a log."""
        looked: Looked | None = None
        for piece in log.pieces():
            if len(piece):
                looked = looked or cls(first_ns=float(piece.ns[0]))
                looked._take(piece)
        assert looked is not None  # a log without an access has been refused
        return looked

    def _take(self, piece: Log) -> None:
        """Take the next accesses."""
        self.last_ns = float(piece.ns[-1])
        reads = piece.reads
        self.head = self.head.then(reads.part(slice(MOST_READS - len(self.head))))
        self.tail = self.tail.then(reads).part(slice(-MOST_READS, None))
        first = -self.reads % self._every
        self.spread = self.spread.then(reads.part(slice(first, None, self._every)))
        self.reads += len(reads)
        while len(self.spread) >= 2 * TRIED:
            self.spread = self.spread.part(slice(None, None, 2))
            self._every *= 2


class OpenedLog:
    """A log and the flux it belongs to."""

    def __init__(
        self, path: Path, document: Document, progress: Callable[[int], None] | None = None
    ) -> None:
        given = document.validate(LogMap)
        self.given = given
        folder = document.path.parent
        profile = profile_named_in(document, given.profile)
        with reading(document.path):
            self.profile: Profile = profile.with_policies(given.policies)
        self.map = _as_map(given)
        self.notes: list[str] = []
        self.unsure = 0
        self._phase = 0
        self._name = str(path)
        self._log = LogFile(path, given.log, progress)
        self._looked = Looked.through(self._log)
        file = folder / given.track.file
        if not os.path.exists(file) or os.path.isdir(file):
            message = f"'{given.track.file}': no such file"
            raise InputError([document.problem(("track", "file"), message)])
        flux = read_flux(file, Reading(rate=given.track.rate))
        with reading(file):
            check_flux(flux, float(self.profile.channel_bit_ns))
        self._pulses = _seen(flux.ns / float(self.profile.cycle_ns))
        self._flux_end = int(flux.ns[-1] / float(self.profile.cycle_ns))  # its last cycle
        del flux
        self._offset_ns = self._aligned()

    @property
    def name(self) -> str:
        """The file's name as given."""
        return self._name

    def samples(self) -> Iterator[SampledEdges]:
        """Yield nothing: a log has no samples."""
        return iter(())

    def spans(self) -> Iterator[RunSpan]:
        """Yield the spans of the log, one after the other."""
        yield from self.spans_of(self.samples(), self.map, self.profile)

    def spans_of(
        self, samples: Iterator[SampledEdges], given: CaptureMap, profile: Profile
    ) -> Iterator[RunSpan]:
        """Yield the spans of the log, what its times leave open under a profile marked."""
        del samples
        made = LogSpans(self._timing(given, profile, self._phase))
        for span in made.spans(self._accessed()):
            self.unsure = made.unsure
            yield span

    def reasons(self) -> list[str]:
        """Return why reads were not decided."""
        if not self.unsure:
            return []
        within = self.given.log.tolerance_us
        return [f"{counted(self.unsure, 'read')}: something changes within {within:g} us of them"]

    def time_of(self, cycle: int) -> float | None:
        """Return the time of a cycle in ns of the flux."""
        return float(cycle * self.profile.cycle_ns)

    def _timing(self, given: CaptureMap, profile: Profile, phase: int) -> LogTiming:
        """Return what spans are made with under a profile."""
        tolerance = int(np.ceil(self.given.log.tolerance_us * 1000 / float(profile.cycle_ns)))
        return LogTiming(given, profile, self._pulses, tolerance, self.given.wait_for_sync, phase)

    def _cycles(self, log: Log, offset_ns: float) -> Cycles:
        """Return the cycle of each access, when the log's time 0 is at an offset."""
        ns = log.ns * (1 - self.given.log.drift_ppm / 1e6) + offset_ns
        return np.rint(ns / float(self.profile.cycle_ns)).astype(np.int64)

    def _accessed(self) -> Iterator[Accessed]:
        """Yield the accesses that lie within the flux, no two on one edge."""
        last = -1
        for piece in self._log.pieces():
            cycle = self._cycles(piece, self._offset_ns)
            inside = (cycle >= 0) & (cycle <= self._flux_end)
            cycle = _apart(cycle[inside], last)
            if len(cycle):
                last = int(cycle[-1])
                yield Accessed(cycle, piece.part(inside))
        if last < 0:
            raise UserError(
                f"{self._name}: no access lies within the flux; is log.offset_us or log.unit right?"
            )

    def _aligned(self) -> float:
        """Return when the log's time 0 was in the flux, in ns: given, or where most bytes fit.

        The byte count at the start is found on the way, unless a match sets it.
        """
        given = self.given.log.offset_us
        cycle_ns = float(self.profile.cycle_ns)
        best = (-1.0, 0, 0)
        for phase in range(1 if self.given.wait_for_sync else PHASES):
            lane = self._data_lane(phase)
            if given == "auto":
                offset, share = self._best_offset(lane)
            else:
                offset = round(float(given) * 1000 / cycle_ns)
                share = float(self._hits(lane, self._looked.spread, np.array([offset]))[0])
            best = max(best, (share, offset, phase))
        share, offset, self._phase = best
        if given == "auto" and share < FEWEST_FIT:
            raise UserError(
                f"{self._name}: its bytes fit the flux nowhere ({100 * share:.0f} % at best); is it"
                " the same track, and log.unit right? log.offset_us can say when it began"
            )
        if given == "auto":
            self.notes.append(f"log.offset_us found: {offset * cycle_ns / 1000:.1f}")
        self._look_at_drift(self._data_lane(self._phase), offset)
        return offset * cycle_ns

    def _look_at_drift(self, lane: Lane, offset: int) -> None:
        """Note a log whose clock runs away from that of the flux."""
        few = min(self._looked.reads // 3, MOST_READS)
        if few < LEAST_READS:
            return
        ends, times = [], []
        near = np.arange(-NEAR_BITS, NEAR_BITS + 1) * round(float(self.profile.cycles_per_bit) / 2)
        for part in (self._looked.head.part(slice(few)), self._looked.tail.part(slice(-few, None))):
            hits = self._hits(lane, part, offset + near)
            ends.append(float(np.median(near[hits == hits.max()])) * float(self.profile.cycle_ns))
            times.append(float(part.ns.mean()))
        moved = ends[1] - ends[0]
        least = max(DRIFTS * self.given.log.tolerance_us * 1000, float(self.profile.channel_bit_ns))
        if abs(moved) > least:
            ppm = self.given.log.drift_ppm - moved / (times[1] - times[0]) * 1e6
            self.notes.append(
                f"the log's clock drifts against the flux: log.drift_ppm: {ppm:.0f} corrects it"
            )

    def _hits(self, lane: Lane, reads: Log, offsets: Cycles) -> NDArray[np.float64]:
        """Return which share of some reads has the flux's byte, at each of some offsets."""
        value, cycle = reads.value & 0xFF, self._cycles(reads, 0.0)
        hits = np.zeros(len(offsets))
        for at, byte in zip(cycle.tolist(), value.tolist(), strict=True):
            hits += lane.at(np.clip(offsets + at - 1, 0, None)) == byte
        return hits / max(len(value), 1)

    def _best_offset(self, lane: Lane) -> tuple[int, float]:
        """Return the offset in cycles at which most data bytes fit, and what share of them does."""
        ends = replace(Log.none(), ns=np.array([self._looked.first_ns, self._looked.last_ns]))
        begin, end = self._cycles(ends, 0.0).tolist()
        tolerance = self._timing(self.map, self.profile, 0).tolerance
        step = round(2 * float(self.profile.cycles_per_bit))
        coarse = np.arange(-begin, max(self._flux_end - end, 1 - begin), step)
        hits = self._hits(lane, self._looked.spread, coarse)
        middle = int(coarse[int(hits.argmax())])
        fine = middle + np.arange(-4 * step, 4 * step + 1, max(1, tolerance // 2))
        hits = self._hits(lane, self._looked.spread, fine)
        return int(np.median(fine[hits == hits.max()])), float(hits.max())

    def _data_lane(self, phase: int) -> Lane:
        """Return the bytes the flux gives, as far as accesses do not matter."""
        timing = self._timing(self.map, self.profile, phase)
        return bytes_alone(timing, self._flux_end + 1)


def _as_map(given: LogMap) -> CaptureMap:
    """Return the map of a waveform that says the same."""
    registers = Registers(
        status=StatusAddress(word=0),
        sync_word=WordAddress(word=1),
        control=WordAddress(word=3),
    )
    bus = BusPart.model_validate({"read": "log", "read_data": "log", "registers": registers})
    held = {"wait_for_sync"} & given.model_fields_set
    return CaptureMap(
        profile=given.profile,
        policies=given.policies,
        clock=ClockPart(signal="log"),
        disk=DiskPart.model_validate({"flux": "flux"}),
        bus=bus,
        begin=given.begin,
    ).holding(*held)


def _seen(pulses: NDArray[np.float64]) -> Cycles:
    """Return the edges at which pulses are seen, which come at times in cycles."""
    cycle = np.ceil(pulses, out=pulses).astype(np.int64)
    return cycle[np.diff(cycle, prepend=-1) > 0]


def _apart(cycle: Cycles, last: int) -> Cycles:
    """Return cycles, all behind `last`, in which no two share one: the later is moved on."""
    index = np.arange(len(cycle))
    return np.maximum(np.maximum.accumulate(cycle - index), last + 1) + index
