"""A capture opened with its map: the roles found in it, and the spans it makes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import chain
from pathlib import Path
from typing import Protocol

import numpy as np

from refmodel.capture.capture_map import LINES, WIDTHS, CaptureMap, Role, load_map
from refmodel.capture.clocked import ClockedSamples, ClockRole, Hole, SampledEdges
from refmodel.capture.columns import ColumnFile, TablePart
from refmodel.capture.fst import Fst
from refmodel.capture.memory_words import slots_of
from refmodel.capture.opened_log import OpenedLog
from refmodel.capture.recorded_run import RecordedRun, RunSpan
from refmodel.capture.recovery import RecoveredSamples
from refmodel.capture.vcd import Vcd
from refmodel.capture.waves import Recording, find_signal, uneven
from refmodel.ground.errors import InputError, Problem, UserError
from refmodel.ground.lane import Lane, cycles_up
from refmodel.ground.yamlfile import load
from refmodel.profile import Profile
from refmodel.report.numbers import counted, time_text

Progress = Callable[[int], None]
ENOUGH = 100_000  # edges from which the schedule of memory slots is reported
UNCAUSED = 0.01  # of the changes of an output, from which a note is made
SLOWEST, FASTEST = 0.98, 1.02  # of the profile's clock, beyond which a note is made


class Evidence(Protocol):
    """A capture ready to be held to the model, whatever it was recorded with.

    `unsure` counts what its times left open, once its spans have been read.
    """

    map: CaptureMap
    profile: Profile
    notes: list[str]
    unsure: int

    @property
    def name(self) -> str:
        """The file's name as given."""

    def samples(self) -> Iterator[SampledEdges]:
        """Yield what each edge of the clock samples."""

    def spans(self) -> Iterator[RunSpan]:
        """Yield the spans of the capture's runs."""

    def spans_of(
        self, samples: Iterator[SampledEdges], given: CaptureMap, profile: Profile
    ) -> Iterator[RunSpan]:
        """Yield the spans that samples make with a map's latencies and a profile's separator."""

    def reasons(self) -> list[str]:
        """Return why some of it is not decided."""

    def time_of(self, cycle: int) -> float | None:
        """Return the time of a cycle's edge in ns, if it is known."""


class Opened:
    """A recording whose roles have been found. `spans` reads it; a file can be read again."""

    def __init__(self, recording: Recording, given: CaptureMap) -> None:
        self.recording = recording
        self.map = given
        self.profile: Profile = given.load_profile()
        self.roles = self._find_roles()
        self.notes = [*recording.notes]
        self.unsure = 0
        self._run: RecordedRun | None = None
        self._edges: list[SampledEdges] = []
        self._waiting: Iterator[SampledEdges] | None = None  # read on already, from the start
        if given.memory is not None:
            self._find_slots()

    def _find_slots(self) -> None:
        """Take the schedule of memory slots from the capture; InputError where there is none."""
        head: list[SampledEdges] = []
        rest = self.samples()
        for sampled in rest:
            head.append(sampled)
            if sampled.end > ENOUGH:
                break
        self._waiting = chain(head, rest)
        role = self.roles["memory_slot"]
        lanes = [sampled.value[role.signals[0]] for sampled in head]
        edges = np.concatenate(
            [
                cycles_up(
                    lane if not role.active_low else Lane.of(lane.cycle, lane.value ^ 1), s.end
                )
                for lane, s in zip(lanes, head, strict=True)
            ]
        )
        slots = slots_of(edges, self.profile.slots)
        if slots is None:
            raise self.map.fault(
                ("memory", "slot"),
                f"'{role.signals[0]}' is granted at no places that come again in each line; leave"
                " memory out, and the slots are taken to be the profile's from the first edge on",
            )
        self.profile = self.profile.model_copy(update={"slots": slots})

    @property
    def name(self) -> str:
        """The file's name as given."""
        return self.recording.name

    def _find_roles(self) -> dict[str, Role]:
        """Return the roles with the whole names of their signals; InputError with every fault."""
        found: dict[str, Role] = {}
        problems: list[Problem] = []
        _ = self.recording.signals  # a file that cannot be read is one fault, not one of each role
        for role in self.map.roles():
            try:
                names = [n for given in role.signals for n in find_signal(self.recording, given)]
                self._check_width(role, names)
            except InputError as error:
                problems += error.problems
            except UserError as error:
                problems += self.map.fault(role.key, str(error)).problems
            else:
                found[role.name] = replace_signals(role, names)
        if problems:
            raise InputError(problems)
        return found

    def _check_width(self, role: Role, names: list[str]) -> None:
        """Raise UserError for a role whose signals have not the width it takes."""
        width = sum(self.recording.signals[name].width for name in names)
        if not width:
            return  # a table does not say
        most = WIDTHS.get(role.name, 1)
        bus = role.name in ("bus_address", "bus_read_data", "bus_write_data")
        if len(names) > 1 and any(self.recording.signals[name].width > 1 for name in names):
            raise UserError("a list of signals makes a vector of single bits, the highest first")
        if (bus and width > most) or (not bus and width != most):
            takes = f"{'up to ' if bus else ''}{most} bit{'s' if most > 1 else ''}"
            raise UserError(f"'{', '.join(names[:3])}' has {width} bits; the role takes {takes}")

    def spans(self) -> Iterator[RunSpan]:
        """Yield the spans of the capture's runs."""
        yield from self.spans_of(self.samples(), self.map, self.profile)

    def spans_of(
        self, samples: Iterator[SampledEdges], given: CaptureMap, profile: Profile
    ) -> Iterator[RunSpan]:
        """Yield the spans that samples make with a map's latencies and a profile's separator."""
        self._run = RecordedRun(given, self._sampled_roles, profile)
        yield from self._run.spans(samples)

    @property
    def _sampled_roles(self) -> dict[str, Role]:
        """The roles whose values count at each edge."""
        return {n: r for n, r in self.roles.items() if n not in ("clock", "enable", "index")}

    def samples(self) -> Iterator[SampledEdges]:
        """Yield what each edge of the clock samples."""
        if self._waiting is not None:
            waiting, self._waiting = self._waiting, None
            yield from waiting
            return
        clock = self.map.clock
        signals = [name for role in self._sampled_roles.values() for name in role.signals]
        self._edges = []
        if clock.sampled:
            recovered = RecoveredSamples(
                self.recording,
                clock,
                self.roles["clock"].signals[0],
                signals,
                float(self.profile.cycle_ns),
                self.map.glitch_ns,
            )
            for sampled in self._watched(recovered.spans()):
                self._look_at_outputs(recovered)
                yield sampled
            self.unsure = recovered.unsure
            self._note_holes(recovered.holes)
            self._note_pauses(recovered.pauses)
            return
        enable = self.roles.get("enable")
        role = ClockRole(
            self.roles["clock"].signals[0],
            clock.edge == "rising",
            enable.signals[0] if enable else None,
            enable.active_low if enable else False,
        )
        clocked = ClockedSamples(self.recording, role, signals)
        yield from self._watched(clocked.spans())
        self._note_holes(clocked.holes)

    def _note_holes(self, holes: Sequence[Hole]) -> None:
        """Note where the clock stood still: nothing is said of the controller there."""
        self._note_still(
            holes,
            "the clock stands still",
            "hole",
            "taken as a hole in the capture; what follows is a run of its own",
        )

    def _note_pauses(self, pauses: Sequence[Hole]) -> None:
        """Note where a recovered clock has no edges for a time too short for a hole."""
        self._note_still(
            pauses,
            "the clock has no edge",
            "time",
            "too short for a hole, so its cycles count; if samples are missing there, what follows"
            " is wrong: cut the capture there",
        )

    def _note_still(self, found: Sequence[Hole], what: str, kind: str, so: str) -> None:
        """Note once where the clock has no edges, the first time in full, and what comes of it."""
        if not found:
            return
        begin, end = found[0]
        more = f" (and {counted(len(found) - 1, f'more {kind}')})" if len(found) > 1 else ""
        said = f"{what} for {time_text(end - begin)} from {time_text(begin)} on{more}: {so}"
        if said not in self.notes:
            self.notes.append(said)

    def _watched(self, samples: Iterator[SampledEdges]) -> Iterator[SampledEdges]:
        """Pass samples on; keep the times of the last edges, and look at the clock's rate."""
        for sampled in samples:
            if not self._edges:
                self._look_at_the_clock(sampled)
            self._edges = [*self._edges[-2:], sampled]
            yield sampled

    def _look_at_outputs(self, recovered: RecoveredSamples) -> None:
        """Note outputs of the controller that change when no edge can have caused it."""
        shown = {*self.map.observed.values(), *LINES} & set(self.roles)
        for name in sorted({signal for role in shown for signal in self.roles[role].signals}):
            said = f"'{name}' changes long after every edge"
            if recovered.uncaused(name) > UNCAUSED and not any(said in n for n in self.notes):
                self.notes.append(
                    f"{said}: is clock.settle_ns, now {self.map.clock.settle_ns:g}, long enough?"
                )

    def _look_at_the_clock(self, sampled: SampledEdges) -> None:
        """Note a clock that is not the profile's."""
        periods = np.diff(sampled.edge_ns)
        if not len(periods):
            return
        clock = self.map.clock
        apart = uneven(periods) if clock.enable is None else None
        if apart is not None and "sampled" not in clock.model_fields_set:
            raise self.map.fault(
                ("clock",),
                f"the edges of '{clock.signal}' are {apart[0]:.4g} to {apart[1]:.4g} ns apart: if"
                " an analyser sampled it say sampled: true, if the clock itself is so uneven"
                " sampled: false",
            )
        ratio = float(np.median(periods) / float(self.profile.cycle_ns))
        if not SLOWEST < ratio < FASTEST:
            self.notes.append(
                f"a cycle of the capture is {np.median(periods):.4g} ns, one of profile"
                f" {self.profile.name} is {float(self.profile.cycle_ns):.4g} ns"
            )

    def time_of(self, cycle: int) -> float | None:
        """Return the time of a cycle's edge in ns, if it was among the last ones read."""
        for sampled in self._edges:
            if sampled.first <= cycle < sampled.end:
                return float(sampled.edge_ns[cycle - sampled.first])
        return None

    def reasons(self) -> list[str]:
        """Return why edges were left out."""
        notes = []
        if self._run is not None and self._run.lost_edges:
            notes.append(
                f"{counted(self._run.lost_edges, 'edge')}: an input was unknown,"
                " or nothing was recorded"
            )
        if self.unsure:
            notes.append(
                f"{counted(self.unsure, 'change')}: samples too far apart to tell"
                " which of two edges each"
                " belongs to"
            )
        return notes


def replace_signals(role: Role, names: list[str]) -> Role:
    """Return a role played by other signals."""
    return role._replace(signals=tuple(names))


def open_capture(path: Path, map_path: Path, progress: Progress | None = None) -> Evidence:
    """Open a capture with its map: a waveform, or a log with its flux.

    Raises UserError for a file that cannot be read, and signals that are not in it.
    """
    document = load(map_path)
    if isinstance(document.data, dict) and "log" in document.data:
        return OpenedLog(path, document, progress)
    given = load_map(map_path)
    return Opened(open_recording(path, given.file, progress), given)


def open_recording(
    path: Path, table: TablePart | None = None, progress: Progress | None = None
) -> Recording:
    """Open a recording by the form its name says; what has none, such as a pipe, is a VCD."""
    if path.suffix == ".fst":
        return Fst(path)
    if path.suffix in (".csv", ".tsv"):
        return ColumnFile(path, table, progress)
    return Vcd(path, progress)
