"""Which silicon is this: the readings of a capture that nothing in it contradicts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from refmodel.block.fields import Layout
from refmodel.capture.layout_fit import Place, best_layout, places
from refmodel.capture.opened import Evidence
from refmodel.capture.reading import (
    Reading,
    Trials,
    TriedForm,
    depth_questions,
    first_reading,
    questions,
)
from refmodel.capture.search import Left, Search
from refmodel.capture.separators import USE
from refmodel.capture.step_search import step_search
from refmodel.engine.finding import Finding
from refmodel.profile import Profile

CONSISTENT, CONTRADICTED, NOT_EXERCISED = "consistent", "contradicted", "not exercised"


@dataclass(frozen=True)
class Value:
    """An answer to a question: whether it holds, and the finding that contradicts it."""

    value: str
    verdict: str
    finding: Finding | None = None
    note: str = ""
    reading: Reading | None = None  # one with this answer, if the reported reading has another


@dataclass(frozen=True)
class Question:
    """A question, the answer the reading has, and what becomes of each."""

    name: str
    answer: str
    values: tuple[Value, ...]

    @property
    def decided(self) -> bool:
        """Whether the capture contradicts all answers but one."""
        return sum(v.verdict != CONTRADICTED for v in self.values) == 1


@dataclass(frozen=True)
class Fitted:
    """The reading found, and every question; without one, the reading that holds longest."""

    best: TriedForm
    questions: tuple[Question, ...]
    profile: Profile

    @property
    def holds(self) -> bool:
        """Whether nothing contradicts the reading."""
        return self.best.finding is None

    @property
    def open(self) -> list[Question]:
        """The questions the captures leave open."""
        return [q for q in self.questions if not q.decided]


def fit(captures: Sequence[Evidence], say: Callable[[str], None]) -> Fitted:
    """Find what readings hold for all captures, and of each answer whether one has it."""
    trials = Trials(captures, say)
    found = _found(trials)
    if found.best.finding is not None:
        found = _elsewhere(trials, found)
    best = found.best
    if best.finding is not None:
        return Fitted(best, (), trials.profile)
    asked = questions(trials.map, trials.profile)
    answered = [
        _question(trials, found, n, v) for n, v in asked.items() if _matters(n, best.reading)
    ]
    return Fitted(best, (*answered, *_layout(trials, best.reading)), trials.profile)


@dataclass(frozen=True)
class _Found:
    """The reading that is reported, and what else is left: None where only it was looked for."""

    best: TriedForm
    search: Search | None = None
    left: Sequence[Left] = ()

    def with_answer(self, question: str, value: str) -> Reading | None:
        """Return the reading with one other answer that is tried for it, None if none is left."""
        if self.search is None:
            return self.best.reading.changed(question, value)
        near = self.search.with_answer(self.left, question, value)
        return self.search.nearest(near, self.best.reading)


def _found(trials: Trials) -> _Found:
    """Look for readings: all at once in waveforms, step by step in logs."""
    if not trials.sampled:
        asked = questions(trials.map, trials.profile)
        single = {n: v for n, v in asked.items() if n.count(".") < 2}
        return _Found(step_search(trials, single))
    search = Search(trials, depth_questions(trials.map))
    left = search.left()
    wanted = first_reading(trials.map, trials.profile)
    nearest = search.nearest(left, wanted)
    if nearest is None:
        nearest = search.nearest(search.furthest, wanted) or wanted
        left = []
    return _Found(trials.tried(nearest), search, left)


def _matters(question: str, reading: Reading) -> bool:
    """Tell whether a question is one about the separator that is used, if about one at all."""
    parts = question.split(".")
    return len(parts) < 3 or parts[1] == reading[USE]


def _elsewhere(trials: Trials, found: _Found) -> _Found:
    """Look again with the fields of status where they agree best, if that is elsewhere."""
    profile = trials.profile
    for tried in (first_reading(trials.map, profile), found.best.reading):
        known = places(tried.map(trials.map), tried.profile(profile), trials.spans(tried))
        moved = best_layout(known, profile.status)
        try:
            layout = {**profile.layout, **moved}
            Layout.moved({n: _ends(place) for n, place in layout.items()})
        except ValueError:
            continue  # two fields at one place
        if moved:
            trials.with_profile(profile.model_copy(update={"layout": layout}))
            again = _found(trials)
            if again.best.reached > found.best.reached:
                return again
            trials.with_profile(profile)
    return found


def _ends(place: int | str) -> tuple[int, int]:
    """Return the highest and the lowest bit of a place."""
    high, _, low = str(place).partition("..")
    return int(high), int(low or high)


def _layout(trials: Trials, reading: Reading) -> list[Question]:
    """Return for each field of status which places hold."""
    found = places(reading.map(trials.map), reading.profile(trials.profile), trials.spans(reading))
    answered = []
    for field in trials.profile.status.fields:
        mine = [p for p in found if p.field == field.name]
        open_places = [p for p in mine if p.first is None]
        values = tuple(
            Value(
                str(p.lsb),
                CONTRADICTED if p.first is not None else _held(open_places),
                note="" if p.first is None else f"cycle {p.first}: it differs from the field there",
            )
            for p in mine
        )
        if any(v.value == str(field.lsb) and v.verdict != CONTRADICTED for v in values):
            answered.append(Question(f"layout.{field.name}", str(field.lsb), values))
    return answered


def _held(open_places: Sequence[Place]) -> str:
    return CONSISTENT if len(open_places) == 1 else NOT_EXERCISED


def _question(trials: Trials, found: _Found, name: str, values: tuple[str, ...]) -> Question:
    """Return what becomes of every answer to one question."""
    own = found.best.reading[name]
    answers = [
        Value(value, NOT_EXERCISED) if value == own else _value(trials, found, name, value)
        for value in dict.fromkeys((*values, own))
    ]
    out = sum(value.verdict == CONTRADICTED for value in answers)
    if out:  # some answers are out: those that are left have been looked at
        answers = [
            v if v.verdict == CONTRADICTED else replace(v, verdict=CONSISTENT) for v in answers
        ]
    return Question(name, own, tuple(answers))


def _value(trials: Trials, found: _Found, name: str, value: str) -> Value:
    """Return whether an answer that the reading has not is left, and with what others."""
    alone = found.best.reading.changed(name, value)
    reading = found.with_answer(name, value) or alone
    finding = trials.tried(reading).finding
    if finding is not None:
        return Value(value, CONTRADICTED, trials.tried(alone).finding or finding)
    beside = [f"{q}={v}" for q, v in reading.answers if v != alone[q]]
    note = f"with {', '.join(beside)}" if beside else ""
    return Value(value, NOT_EXERCISED, note=note, reading=reading)
