"""A reading of a capture: an answer to each question a capture may decide, tried on it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import get_args

from refmodel.block.settings import Policies
from refmodel.capture.capture_map import CaptureMap
from refmodel.capture.check import Checked, check_spans
from refmodel.capture.opened import Evidence
from refmodel.capture.recorded_run import RunSpan
from refmodel.engine.finding import Finding
from refmodel.profile import Profile
from refmodel.separator.choose import NAMES

DEEPEST = 3  # edges of latency that are tried
NUMBERS = {"arming_writes": ("1", "2", "3", "4")}
DEPTHS = (
    "disk.latency",
    "bus.latency",
    "bus.write_latency",
    "inputs.latency",
    "latency.status",
)
SEPARATOR = "separator.use"


@dataclass(frozen=True)
class Reading:
    """An answer to every question: policies, numbers of the profile, depths, the separator."""

    answers: tuple[tuple[str, str], ...]

    def __getitem__(self, question: str) -> str:
        return dict(self.answers)[question]

    def changed(self, question: str, value: str) -> Reading:
        """Return the reading with one other answer."""
        return Reading(tuple((q, value if q == question else v) for q, v in self.answers))

    def profile(self, base: Profile) -> Profile:
        """Return a profile with the answers that belong to one."""
        answers = dict(self.answers)
        policies = {q: v for q, v in answers.items() if q in Policies.model_fields}
        changes: dict[str, object] = {q: int(v) for q, v in answers.items() if q in NUMBERS}
        if SEPARATOR in answers:
            part = base.separator.model_copy(update={"use": answers[SEPARATOR]})
            changes["separator"] = part
        return base.with_policies(policies).model_copy(update=changes)

    def map(self, given: CaptureMap) -> CaptureMap:
        """Return a map with the answers that belong to one."""
        answers = dict(self.answers)
        changes: dict[str, object] = {
            "disk": given.disk.model_copy(update={"latency": int(answers["disk.latency"])}),
            "inputs": given.inputs.model_copy(update={"latency": int(answers["inputs.latency"])}),
            "latency": {**given.latency, "status": int(answers["latency.status"])},
        }
        if given.bus is not None:
            depths = {name: int(answers[f"bus.{name}"]) for name in ("latency", "write_latency")}
            changes["bus"] = given.bus.model_copy(update=depths)
        return given.model_copy(update=changes)


@dataclass(frozen=True)
class TriedForm:
    """What became of a reading: where it is contradicted first, if it is, and how far it went."""

    reading: Reading
    finding: Finding | None
    capture: int = 0
    checked: Checked | None = None

    @property
    def reached(self) -> tuple[int, float]:
        """How far the reading holds: captures, and the cycle within the next."""
        at = float("inf") if self.finding is None else float(self.finding.mismatch.cycle)
        return self.capture, at


def questions(given: CaptureMap) -> dict[str, tuple[str, ...]]:
    """Return every question with the answers that are tried."""
    found = {
        name: tuple(map(str, get_args(known.annotation)))
        for name, known in Policies.model_fields.items()
    }
    found |= NUMBERS
    depths = tuple(str(n) for n in range(DEEPEST + 1))
    found |= {
        name: depths for name in DEPTHS if not name.startswith("bus.") or given.bus is not None
    }
    if given.disk.flux is not None:
        found[SEPARATOR] = NAMES
    return found


def first_reading(given: CaptureMap, base: Profile) -> Reading:
    """Return what the map and its profile say."""
    answers = {name: str(getattr(base.policies, name)) for name in Policies.model_fields}
    answers |= {name: str(getattr(base, name)) for name in NUMBERS}
    answers["disk.latency"] = str(given.disk.latency)
    answers["inputs.latency"] = str(given.inputs.latency)
    answers["latency.status"] = str(given.latency.get("status", 0))
    if given.bus is not None:
        answers["bus.latency"] = str(given.bus.latency)
        answers["bus.write_latency"] = str(given.bus.write_latency)
    if given.disk.flux is not None:
        answers[SEPARATOR] = base.separator.use
    return Reading(tuple(answers.items()))


class Trials:
    """Tries readings on captures that were read once; equal ones are tried once only."""

    def __init__(self, captures: Sequence[Evidence], say: Callable[[str], None]) -> None:
        self._captures = captures
        self.profile = captures[0].profile
        self._say = say
        self._samples = [list(opened.samples()) for opened in captures]
        self._spans: dict[tuple[object, ...], list[RunSpan]] = {}
        self._tried: dict[Reading, TriedForm] = {}

    @property
    def map(self) -> CaptureMap:
        """The map of the captures."""
        return self._captures[0].map

    def with_profile(self, profile: Profile) -> None:
        """Go on with another profile; all readings are tried anew."""
        self.profile = profile
        self._spans.clear()
        self._tried.clear()

    def spans(self, reading: Reading) -> list[RunSpan]:
        """Return the spans of the first capture at the depths of a reading."""
        return self._spans_of(0, reading.map(self.map), reading)

    def tried(self, reading: Reading) -> TriedForm:
        """Return what becomes of a reading on all captures, up to its first contradiction."""
        if reading not in self._tried:
            self._say(f"fit: reading {len(self._tried) + 1}")
            self._tried[reading] = self._try(reading)
        return self._tried[reading]

    def _try(self, reading: Reading) -> TriedForm:
        """Try a reading."""
        given, profile = reading.map(self.map), reading.profile(self.profile)
        checked = None
        for number in range(len(self._captures)):
            checked = check_spans(given, profile, self._spans_of(number, given, reading))
            if checked.finding is not None:
                return TriedForm(reading, checked.finding, number, checked)
        return TriedForm(reading, None, len(self._captures), checked)

    def _spans_of(self, number: int, given: CaptureMap, reading: Reading) -> list[RunSpan]:
        """Return a capture's spans at the depths of a reading."""
        answers: Mapping[str, str] = dict(reading.answers)
        key = (number, *(answers.get(name) for name in (*DEPTHS, SEPARATOR)))
        if key not in self._spans:
            opened = self._captures[number]
            profile = reading.profile(self.profile)
            if len(self._spans) > 8:
                self._spans.clear()
            self._spans[key] = list(opened.spans_of(iter(self._samples[number]), given, profile))
        return self._spans[key]
