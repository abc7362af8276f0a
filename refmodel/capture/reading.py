"""A reading of a capture: an answer to each question a capture may decide, tried on it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import takewhile
from typing import get_args

from refmodel.block.settings import Policies
from refmodel.capture.capture_map import CaptureMap
from refmodel.capture.check import Checked, check_spans
from refmodel.capture.opened import Evidence
from refmodel.capture.recorded_run import RunSpan
from refmodel.capture.separators import (
    USE,
    separator_answers,
    separator_questions,
    with_separator,
)
from refmodel.engine.finding import Finding
from refmodel.profile import Profile

DEEPEST = 3  # edges of latency that are tried
NUMBERS = {"arming_writes": ("1", "2", "3", "4")}


@dataclass(frozen=True)
class Reading:
    """An answer to every question: policies, numbers of the profile, depths, the separator."""

    answers: tuple[tuple[str, str], ...]

    def __getitem__(self, question: str) -> str:
        return dict(self.answers)[question]

    def get(self, question: str, missing: str) -> str:
        """Return an answer, or another where the question is not asked."""
        return dict(self.answers).get(question, missing)

    def changed(self, question: str, value: str) -> Reading:
        """Return the reading with one other answer."""
        return Reading(tuple((q, value if q == question else v) for q, v in self.answers))

    def profile(self, base: Profile) -> Profile:
        """Return a profile with the answers that belong to one."""
        answers = dict(self.answers)
        policies = {q: v for q, v in answers.items() if q in Policies.model_fields}
        changes: dict[str, object] = {q: int(v) for q, v in answers.items() if q in NUMBERS}
        if USE in answers:
            base = with_separator(base, self.separator)
        return base.with_policies(policies).model_copy(update=changes)

    @property
    def separator(self) -> dict[str, str]:
        """The answers about a separator."""
        return {q: v for q, v in self.answers if q.startswith("separator.")}

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


def rule_questions() -> dict[str, tuple[str, ...]]:
    """Return the questions about what the block does, with the answers that are tried."""
    found = {
        name: tuple(map(str, get_args(known.annotation)))
        for name, known in Policies.model_fields.items()
    }
    return found | NUMBERS


def depth_questions(given: CaptureMap) -> dict[str, tuple[str, ...]]:
    """Return the questions about how late things count, the map's own answer among them."""
    own = first_depths(given)
    tried = {*range(DEEPEST + 1)}
    return {name: tuple(map(str, sorted({*tried, int(now)}))) for name, now in own.items()}


def first_depths(given: CaptureMap) -> dict[str, str]:
    """Return what a map says of how late things count."""
    found = {
        "disk.latency": str(given.disk.latency),
        "inputs.latency": str(given.inputs.latency),
        "latency.status": str(given.latency.get("status", 0)),
    }
    if given.bus is not None:
        found["bus.latency"] = str(given.bus.latency)
        found["bus.write_latency"] = str(given.bus.write_latency)
    return found


def questions(given: CaptureMap, base: Profile) -> dict[str, tuple[str, ...]]:
    """Return every question with the answers that are tried."""
    found = rule_questions() | depth_questions(given)
    if given.disk.flux is not None:
        found |= separator_questions(base.separator)
    return found


def first_reading(given: CaptureMap, base: Profile) -> Reading:
    """Return what the map and its profile say."""
    answers = {name: str(getattr(base.policies, name)) for name in Policies.model_fields}
    answers |= {name: str(getattr(base, name)) for name in NUMBERS}
    answers |= first_depths(given)
    if given.disk.flux is not None:
        answers |= separator_answers(base.separator)
    return Reading(tuple(answers.items()))


class Trials:
    """Tries readings on captures that were read once; equal ones are tried once only."""

    def __init__(self, captures: Sequence[Evidence], say: Callable[[str], None]) -> None:
        self._captures = captures
        self.profile = captures[0].profile
        self.say = say
        self._samples = [list(opened.samples()) for opened in captures]
        self._spans: dict[tuple[object, ...], list[RunSpan]] = {}
        self._tried: dict[Reading, TriedForm] = {}

    @property
    def map(self) -> CaptureMap:
        """The map of the captures."""
        return self._captures[0].map

    @property
    def captures(self) -> int:
        """How many captures there are."""
        return len(self._captures)

    @property
    def sampled(self) -> bool:
        """Whether every capture has what each edge samples, as a waveform has and a log has not."""
        return all(self._samples)

    def edges(self, number: int) -> int:
        """Return how many edges a capture has."""
        return self._samples[number][-1].end

    def spans_at(self, number: int, reading: Reading, most: int | None = None) -> list[RunSpan]:
        """Return the spans of a capture's first edges, or of all, at the depths of a reading."""
        given = reading.map(self.map)
        if most is None:
            return self._spans_of(number, given, reading)
        first = (s if s.end <= most else s.until(most) for s in self._samples[number])
        samples = takewhile(lambda s: s.first < most, first)
        profile = reading.profile(self.profile)
        return list(self._captures[number].spans_of(samples, given, profile))

    def with_profile(self, profile: Profile) -> None:
        """Go on with another profile; all readings are tried anew."""
        self.profile = profile
        self._spans.clear()
        self._tried.clear()

    def spans(self, reading: Reading) -> list[RunSpan]:
        """Return the spans of the first capture at the depths of a reading."""
        return self.spans_at(0, reading)

    def tried(self, reading: Reading) -> TriedForm:
        """Return what becomes of a reading on all captures, up to its first contradiction."""
        if reading not in self._tried:
            self.say(f"fit: reading {len(self._tried) + 1}")
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
        """Return a capture's spans under a reading; those of samples do not depend on its rules."""
        rules = rule_questions() if self.sampled else {}
        beside = {q: v for q, v in reading.answers if q not in rules}
        key = (number, *beside.items())
        if key not in self._spans:
            opened = self._captures[number]
            profile = reading.profile(self.profile)
            if len(self._spans) > 8:
                self._spans.clear()
            self._spans[key] = list(opened.spans_of(iter(self._samples[number]), given, profile))
        return self._spans[key]
