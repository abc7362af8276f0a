"""The form of hunt.json; `docs/reference/hunt.schema.json` is written from this."""

from __future__ import annotations

from typing_extensions import TypedDict

from refmodel.report.result_form import Met


class EventForm(TypedDict):
    """Something that reaches the block."""

    at: int
    """The edge, counted from the start of the run."""
    kind: str
    """What it is: a bit, a read, a write, a slot, a level, a reset."""
    name: str
    """The register of an access, or the level; empty for others."""
    value: int
    """The channel bit, the word written, the level from then on, or the cycles of a reset."""


class FailureForm(TypedDict):
    """Cases that fail alike, and the smallest of them."""

    clause: str
    """The clause of SPEC."""
    cause: str
    """Why the model has its value, in words."""
    field: str
    """The field, line or register that differs."""
    cycle: int
    """The cycle in which it does."""
    expected: int
    """What the model says."""
    observed: int
    """What the core shows."""
    seeds: list[int]
    """The seeds of the cases that fail so."""
    events: list[EventForm]
    """The smallest case, event by event."""
    shrink_cases: int
    """Cases played to make it small."""
    shrink_seconds: float
    """How long that took."""
    scenario: str
    """The scenario that shows it; empty if none was written."""
    reproduce: str
    """The command that reproduces it; empty without a scenario."""


class SourceRow(TypedDict):
    """A point of the core's source."""

    file: str
    """The file."""
    line: int
    """The line, from 1."""
    kind: str
    """branch, for one that begins there; change, of a bit declared there."""
    name: str
    """The branch, such as `else`; or the bit, and which way it changes."""
    column: int
    """The column, from 1; 0 where it is not known."""
    count: int
    """How often it came."""


class HuntForm(TypedDict):
    """What one hunt has found, and how far it looked."""

    binding: str
    """The binding, as it was given."""
    simulator: str
    """The simulator."""
    verdict: str
    """agree, or mismatch."""
    seed: int
    """The seed of the first case; each further one has the next."""
    policies: dict[str, str]
    """Policies that were set."""
    cases: int
    """Cases played."""
    cycles_compared: int
    """Cycles compared in them."""
    failures: list[FailureForm]
    """What was found, one entry a kind."""
    flaky_seeds: list[int]
    """Seeds of cases that failed once and not again."""
    coverage: list[Met]
    """What came near each other."""
    not_met: list[str]
    """What never did, in words."""
    source: list[SourceRow]
    """How often each point of the core's source was passed, where it was asked for."""


class HuntsForm(TypedDict):
    """The file."""

    hunts: list[HuntForm]
    """One for each core and simulator."""
