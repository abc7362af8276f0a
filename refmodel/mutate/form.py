"""The form of mutants.json; `docs/reference/mutants.schema.json` is written from this."""

from __future__ import annotations

from typing import Literal

from typing_extensions import TypedDict


class MutantForm(TypedDict):
    """A change planted in the core, and its fate."""

    number: int
    """Its number."""
    file: str
    """The source file."""
    line: int
    """The line, from 1."""
    change: str
    """The change, in words."""
    fate: Literal["killed", "survived", "equivalent", "unseen", "unknown"]
    """The fate, as the counts of the core name it."""
    scenario: str
    """The scenario that killed it; empty if none did."""
    clause: str
    """The clause of SPEC its mismatch cites; empty if no scenario killed it."""
    why: str
    """More about the fate, in words; may be empty."""
    killed_by: str
    """The scenario file written beside mutants.json that kills a survivor; else empty."""


class MutatedForm(TypedDict):
    """One core, and the fate of its changes."""

    binding: str
    """The binding, as it was given."""
    top: str
    """The core's top module."""
    simulator: str
    """The simulator."""
    suites: list[str]
    """The suites played."""
    seed: int
    """The seed of all that is drawn at random."""
    scenarios: int
    """Scenarios in the suites."""
    cycles: int
    """Cycles played, over all changes."""
    score_percent: float
    """Killed changes, as a share of all but the equivalent and the unseen ones."""
    killed: int
    """A scenario mismatched."""
    survived: int
    """Every scenario agreed, but another run differs."""
    equivalent: int
    """The solver says that no output can ever differ."""
    unseen: int
    """The solver says that nothing compared can ever differ."""
    unknown: int
    """Every scenario agreed; whether any run can differ is not known."""
    solver: str
    """asked, or why the solver was not."""
    mutants: list[MutantForm]
    """Every change."""


class MutantsForm(TypedDict):
    """The file."""

    cores: list[MutatedForm]
    """One for each binding."""
