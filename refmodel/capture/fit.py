"""Which silicon is this: the readings of a capture that nothing in it contradicts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from refmodel.block.fields import Layout
from refmodel.capture.layout_fit import Place, best_layout, places
from refmodel.capture.opened import Evidence
from refmodel.capture.reading import Reading, Trials, TriedForm, first_reading, questions
from refmodel.engine.finding import Finding
from refmodel.profile import Profile

CONSISTENT, CONTRADICTED, NOT_EXERCISED = "consistent", "contradicted", "not exercised"
STEPS = 24  # answers changed on the way to a reading that holds


@dataclass(frozen=True)
class Value:
    """An answer to a question: whether it holds, and the finding that contradicts it."""

    value: str
    verdict: str
    finding: Finding | None = None
    note: str = ""


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
    """Find a reading that holds for all captures, then try each other answer beside it."""
    trials = Trials(captures, say)
    asked = questions(trials.map)
    best = _search(trials, asked)
    if best.finding is not None:
        best = _elsewhere(trials, asked, best)
    if best.finding is not None:
        return Fitted(best, (), trials.profile)
    told = [_question(trials, best.reading, n, v) for n, v in asked.items()]
    return Fitted(best, (*told, *_layout(trials, best.reading)), trials.profile)


def _elsewhere(trials: Trials, asked: dict[str, tuple[str, ...]], best: TriedForm) -> TriedForm:
    """Search again with the fields of status where they agree best, if that is elsewhere."""
    profile = trials.profile
    for tried in (first_reading(trials.map, profile), best.reading):
        found = places(tried.map(trials.map), tried.profile(profile), trials.spans(tried))
        moved = best_layout(found, profile.status)
        try:
            layout = {**profile.layout, **moved}
            Layout.moved({n: _ends(place) for n, place in layout.items()})
        except ValueError:
            continue  # two fields at one place
        if moved:
            trials.with_profile(profile.model_copy(update={"layout": layout}))
            again = _search(trials, asked)
            if again.reached > best.reached:
                return again
            trials.with_profile(profile)
    return best


def _ends(place: int | str) -> tuple[int, int]:
    """Return the highest and the lowest bit of a place."""
    high, _, low = str(place).partition("..")
    return int(high), int(low or high)


def _layout(trials: Trials, reading: Reading) -> list[Question]:
    """Return for each field of status which places hold."""
    found = places(reading.map(trials.map), reading.profile(trials.profile), trials.spans(reading))
    told = []
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
            told.append(Question(f"layout.{field.name}", str(field.lsb), values))
    return told


def _held(open_places: Sequence[Place]) -> str:
    return CONSISTENT if len(open_places) == 1 else NOT_EXERCISED


def _search(trials: Trials, asked: dict[str, tuple[str, ...]]) -> TriedForm:
    """Change one answer after the other, or two at once, as long as the reading holds longer."""
    best = trials.tried(first_reading(trials.map, trials.profile))
    for _ in range(STEPS):
        if best.finding is None:
            return best
        better = _best_of(trials, _neighbours(best.reading, asked))
        if better.reached <= best.reached:
            better = _best_of(trials, _two_away(best.reading, asked))
        if better.reached <= best.reached:
            return best
        best = better
    return best


def _neighbours(reading: Reading, asked: dict[str, tuple[str, ...]]) -> list[Reading]:
    """Return the readings with one other answer, policies first: of equal ones the first counts."""
    return [
        reading.changed(name, value)
        for name, values in asked.items()
        for value in values
        if value != reading[name]
    ]


def _two_away(reading: Reading, asked: dict[str, tuple[str, ...]]) -> list[Reading]:
    """Return the readings with two other answers, one of them a depth."""
    depths = {n: v for n, v in asked.items() if "latency" in n}
    pairs = [other for one in _neighbours(reading, depths) for other in _neighbours(one, asked)]
    return list(dict.fromkeys(pairs))


def _best_of(trials: Trials, readings: Sequence[Reading]) -> TriedForm:
    """Return the reading that holds longest; of equal ones the first."""
    best: TriedForm | None = None
    for reading in readings:
        tried = trials.tried(reading)
        if best is None or tried.reached > best.reached:
            best = tried
        if best.finding is None:
            break
    assert best is not None
    return best


def _question(trials: Trials, reading: Reading, name: str, values: tuple[str, ...]) -> Question:
    """Try every answer to one question, all others as they are in the reading."""
    others = [v for v in dict.fromkeys((*values, reading[name])) if v != reading[name]]
    found = {value: trials.tried(reading.changed(name, value)).finding for value in others}
    alone = all(finding is not None for finding in found.values())
    told = []
    for value in dict.fromkeys((*values, reading[name])):
        finding = found.get(value)
        if value == reading[name]:
            told.append(Value(value, CONSISTENT if alone else NOT_EXERCISED))
        elif finding is not None:
            told.append(Value(value, CONTRADICTED, finding))
        else:
            told.append(Value(value, NOT_EXERCISED))
    exercised = any(finding is not None for finding in found.values())
    if exercised and not alone:  # some answers are out, several are left
        told = [v if v.verdict == CONTRADICTED else Value(v.value, CONSISTENT) for v in told]
    return Question(name, reading[name], tuple(told))
