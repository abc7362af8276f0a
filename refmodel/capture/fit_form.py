"""The form of fit.json; `docs/reference/fit.schema.json` is written from this."""

from __future__ import annotations

from typing_extensions import TypedDict


class ContradictionForm(TypedDict):
    """The first place where a capture contradicts an answer."""

    cycle: int
    """The cycle."""
    field: str
    """The field, output or word that differs."""
    expected: int
    """What the model has there."""
    observed: int
    """What was captured."""
    clause: str
    """The clause of SPEC.md."""
    access: str | None
    """The last access before it; null if there was none."""


class ValueForm(TypedDict):
    """What became of one answer to a question."""

    verdict: str
    """consistent, contradicted or not exercised."""
    first_contradiction: ContradictionForm | None
    """Where it is contradicted first; null if it is not."""


class QuestionForm(TypedDict):
    """A policy, a depth or a number that the capture may decide."""

    answer: str
    """The answer; a guess if it is not decided."""
    decided: bool
    """Whether all other answers are contradicted."""
    values: dict[str, ValueForm]
    """Each answer that was tried."""


class NextForm(TypedDict):
    """A scenario to capture next, since it decides a question."""

    question: str
    """The question."""
    value: str
    """The answer that it tells from the one found."""
    scenario: str
    """The scenario's name."""
    cycle: int
    """The cycle at which the two answers part."""


class FitForm(TypedDict):
    """Which policies and depths explain captures of a controller."""

    holds: bool
    """Whether any of them do."""
    questions: dict[str, QuestionForm]
    """Each question by its name."""
    next: list[NextForm]
    """What to capture next."""
    beyond: list[str]
    """Open questions that no shipped scenario decides."""
