"""A log with its flux, opened: spans in which every read is decided as far as its time allows."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.capture.accesses import Accesses
from refmodel.capture.capture_map import CaptureMap
from refmodel.capture.clocked import SampledEdges
from refmodel.capture.knowledge import begin_state
from refmodel.capture.log import LogMap, read_log
from refmodel.capture.map_parts import BusPart, ClockPart, DiskPart
from refmodel.capture.recorded_run import RunSpan
from refmodel.engine.evidence import Observed, Reads
from refmodel.engine.timeline import Expected, Timeline
from refmodel.ground.bus import READ_STATUS, WRITE_SYNC_WORD
from refmodel.ground.errors import UserError
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.word import WORD
from refmodel.ground.yamlfile import Document
from refmodel.host.addresses import Registers, StatusAddress, WordAddress
from refmodel.media.flux_list import Reading, read_flux
from refmodel.profile import Profile, profile_named_in
from refmodel.separator import leap
from refmodel.separator.choose import make_separator

PHASES = 8  # what the byte count can be at the start
TRIED = 100  # reads an offset is tried on
LEAST_READS, MOST_READS = 30, 60  # at either end of a log whose drift is looked at
NEAR_BITS = 600  # channel bits, by half of which offsets are tried for it
FEWEST_FIT = 0.6  # of the bytes read, at an offset that is taken
DRIFTS = 3.0  # times the tolerance that an offset may move over a log


class OpenedLog:
    """A log and the flux it belongs to."""

    def __init__(self, path: Path, document: Document) -> None:
        given = document.validate(LogMap)
        self.given = given
        folder = document.path.parent
        self.profile: Profile = profile_named_in(document, given.profile).with_policies(
            given.policies
        )
        self.map = _as_map(given)
        self.notes: list[str] = []
        self.unsure = 0
        self._phase = 0
        self._log = read_log(path, given.log)
        flux = read_flux(folder / given.track.file, Reading(rate=given.track.rate))
        self._flux_ns = flux.ns
        self._name = str(path)
        self._offset_ns = self._aligned()

    @property
    def name(self) -> str:
        """The file's name as given."""
        return self._name

    def samples(self) -> Iterator[SampledEdges]:
        """Yield nothing: a log has no samples."""
        return iter(())

    def spans(self) -> Iterator[RunSpan]:
        """Yield the one span of the log."""
        yield from self.spans_of(self.samples(), self.map, self.profile)

    def spans_of(
        self, samples: Iterator[SampledEdges], given: CaptureMap, profile: Profile
    ) -> Iterator[RunSpan]:
        """Yield the log as one span, what its times leave open under a profile marked."""
        del samples
        stimulus, accesses = self._stimulus(given, profile)
        reads = accesses.reads()
        undecided = self._undecided(given, profile, stimulus, reads.cycle)
        self.unsure = int(np.count_nonzero(undecided))
        yield RunSpan(
            stimulus,
            Observed({}, {}),
            Reads(reads.cycle, reads.mask, reads.value, reads.unknown, undecided),
            True,
        )

    def reasons(self) -> list[str]:
        """Return why reads were not decided."""
        if not self.unsure:
            return []
        within = self.given.log.tolerance_us
        return [f"{self.unsure} reads: something changes within {within:g} us of them"]

    def time_of(self, cycle: int) -> float | None:
        """Return the time of a cycle in ns of the flux."""
        return float(cycle * self.profile.cycle_ns)

    @property
    def _tolerance(self) -> int:
        """The tolerance in cycles."""
        return int(np.ceil(self.given.log.tolerance_us * 1000 / float(self.profile.cycle_ns)))

    def _cycles(self, offset_ns: float) -> Cycles:
        """Return the cycle of each access, when the log's time 0 is at an offset."""
        ns = self._log.ns * (1 - self.given.log.drift_ppm / 1e6) + offset_ns
        return np.rint(ns / float(self.profile.cycle_ns)).astype(np.int64)

    def _bits(
        self, given: CaptureMap, profile: Profile, end: int
    ) -> tuple[Cycles, NDArray[np.uint8]]:
        """Return the channel bits the profile's separator makes of the flux."""
        separator = make_separator(profile.separator.use, profile.separator, profile.cycles_per_bit)
        seen = np.ceil(self._flux_ns / float(profile.cycle_ns)).astype(np.int64)
        seen = np.unique(seen[(seen > separator.cycle) & (seen < end)])
        read = leap.run(separator, seen, end)
        return read.cycle + given.disk.latency, read.bit

    def _stimulus(self, given: CaptureMap, profile: Profile) -> tuple[Stimulus, Accesses]:
        """Return what reached the controller, and its accesses."""
        log = self._log
        cycle = self._cycles(self._offset_ns)
        inside = (cycle >= 0) & (cycle <= self._flux_ns[-1] / float(profile.cycle_ns))
        if not inside.any():
            raise UserError(
                f"{self._name}: no access lies within the flux; is log.offset_us or log.unit right?"
            )
        cycle = _apart(cycle[inside])
        kind, value = log.kind[inside], log.value[inside]
        end = int(cycle[-1]) + 2
        bit_cycle, bit = self._bits(given, profile, end)
        kept = bit_cycle < end
        is_read = kind == READ_STATUS
        whole = np.full(len(cycle), WORD, np.uint16)
        none = np.zeros(len(cycle), np.uint16)
        accesses = Accesses(
            cycle, kind, whole, np.where(is_read, none, value), np.where(is_read, value, none), none
        )
        levels = {"wait_for_sync": Lane.constant(self.given.wait_for_sync)}
        stimulus = Stimulus(
            0, end, bit_cycle[kept], bit[kept], cycle, kind, whole, accesses.value, levels,
            memory=np.zeros(1 << 16, np.uint16),
        )  # fmt: skip
        return stimulus, accesses

    def _undecided(
        self, given: CaptureMap, profile: Profile, stimulus: Stimulus, reads: Cycles
    ) -> NDArray[np.uint16]:
        """Return the bits each read leaves open: those that change within the tolerance."""
        expected = _expected(given, profile, stimulus, self._phase)
        near, layout = self._tolerance, profile.status
        undecided = np.zeros(len(reads), np.uint16)
        for name in (*FIELD_NAMES, UNUSED):
            if name == "byte_ready":
                changes = _byte_ends(given, profile, stimulus, self._phase)
                tied = _between(changes, reads - near, reads + near)
                apart = ~_between(changes, np.roll(reads, 1) + near, reads - near)
                open_bits = tied | (np.roll(tied, 1) & apart)
            else:
                changes = expected.lanes[name].cycle[1:]
                open_bits = _between(changes, reads - 1 - near, reads - 1 + near)
            undecided[open_bits] |= np.uint16(layout.mask_of(name))
        return undecided

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
                offset, share = self._best_offset(lane, self._log.reads)
            else:
                offset = round(float(given) * 1000 / cycle_ns)
                share = float(self._hits(lane, self._log.reads, np.array([offset]))[0])
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
        reads = np.flatnonzero(self._log.reads)
        few = min(len(reads) // 3, MOST_READS)
        if few < LEAST_READS:
            return
        ends, times = [], []
        near = np.arange(-NEAR_BITS, NEAR_BITS + 1) * round(float(self.profile.cycles_per_bit) / 2)
        for part in (reads[:few], reads[-few:]):
            chosen = np.zeros(len(self._log.kind), bool)
            chosen[part] = True
            hits = self._hits(lane, chosen, offset + near)
            ends.append(float(np.median(near[hits == hits.max()])) * float(self.profile.cycle_ns))
            times.append(float(self._log.ns[part].mean()))
        moved = ends[1] - ends[0]
        if abs(moved) > DRIFTS * self.given.log.tolerance_us * 1000:
            ppm = self.given.log.drift_ppm - moved / (times[1] - times[0]) * 1e6
            self.notes.append(
                f"the log's clock drifts against the flux: log.drift_ppm: {ppm:.0f} corrects it"
            )

    def _hits(self, lane: Lane, chosen: NDArray[np.bool_], offsets: Cycles) -> NDArray[np.float64]:
        """Return which share of some reads has the flux's byte, at each of some offsets."""
        picked = np.flatnonzero(chosen)
        picked = picked[:: max(1, len(picked) // TRIED)]
        value, cycle = self._log.value[picked] & 0xFF, self._cycles(0.0)[picked]
        hits = np.zeros(len(offsets))
        for at, byte in zip(cycle.tolist(), value.tolist(), strict=True):
            hits += lane.at(np.clip(offsets + at - 1, 0, None)) == byte
        return hits / max(len(value), 1)

    def _best_offset(self, lane: Lane, chosen: NDArray[np.bool_]) -> tuple[int, float]:
        """Return the offset in cycles at which most data bytes fit, and what share of them does."""
        cycle = self._cycles(0.0)
        last = int(self._flux_ns[-1] / float(self.profile.cycle_ns))
        step = round(2 * float(self.profile.cycles_per_bit))
        low, high = -int(cycle.min()), max(last - int(cycle.max()), 1 - int(cycle.min()))
        coarse = np.arange(low, high, step)
        hits = self._hits(lane, chosen, coarse)
        middle = int(coarse[int(hits.argmax())])
        fine = middle + np.arange(-4 * step, 4 * step + 1, max(1, self._tolerance // 2))
        hits = self._hits(lane, chosen, fine)
        return int(np.median(fine[hits == hits.max()])), float(hits.max())

    def _data_lane(self, phase: int) -> Lane:
        """Return the bytes the flux gives, as far as accesses do not matter."""
        end = int(self._flux_ns[-1] / float(self.profile.cycle_ns)) + 1
        bit_cycle, bit = self._bits(self.map, self.profile, end)
        levels = {"wait_for_sync": Lane.constant(self.given.wait_for_sync)}
        kept = bit_cycle < end
        stimulus = Stimulus(0, end, bit_cycle[kept], bit[kept], levels=levels)
        return _expected(self.map, self.profile, stimulus, phase).lanes["data"]


def _as_map(given: LogMap) -> CaptureMap:
    """Return the map of a waveform that says the same."""
    registers = Registers(
        status=StatusAddress(word=0),
        sync_word=WordAddress(word=1),
        control=WordAddress(word=3),
    )
    bus = BusPart.model_validate({"read": "log", "read_data": "log", "registers": registers})
    return CaptureMap(
        profile=given.profile,
        policies=given.policies,
        clock=ClockPart(signal="log"),
        disk=DiskPart.model_validate({"flux": "flux"}),
        bus=bus,
        begin=given.begin,
    )


def _expected(given: CaptureMap, profile: Profile, stimulus: Stimulus, phase: int) -> Expected:
    """Return what the model shows of a stimulus that begins in the middle."""
    timeline = Timeline(profile)
    timeline.state = begin_state(given, profile, phase)
    return timeline.run(stimulus)


def _byte_ends(given: CaptureMap, profile: Profile, stimulus: Stimulus, phase: int) -> Cycles:
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
    ready = _expected(given, profile, again, phase).lanes["byte_ready"]
    return np.asarray(ready.cycle[ready.value != 0])


def _between(changes: Cycles, low: Cycles, high: Cycles) -> NDArray[np.bool_]:
    """Tell for each pair whether something changes from `low` to `high`, both included."""
    first = np.searchsorted(changes, low, side="left")
    return np.asarray(np.searchsorted(changes, high, side="right") > first)


def _apart(cycle: Cycles) -> Cycles:
    """Return cycles in which no two accesses share one: the later is moved on."""
    index = np.arange(len(cycle))
    return np.asarray(np.maximum.accumulate(cycle - index) + index, np.int64)
