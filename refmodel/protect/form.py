"""The forms of what `cellstep protect` writes: protect.json, sensitivity.json and `--rates --json`.

Their JSON schemas in `docs/reference` are written from this.
"""

from __future__ import annotations

from typing import Literal, NotRequired

from typing_extensions import TypedDict


class ToleranceForm(TypedDict):
    """How far a status bit may be off in one way before a check gives another verdict."""

    check: str
    """The check's name."""
    field: str
    """The field of status."""
    kind: Literal["early", "late", "long"]
    """Whether it comes early or late, or stays up too long."""
    harmless: int
    """The most cycles that change no verdict."""
    harmful: int | None
    """The fewest that change one; null if not even the most tried do."""
    flips: str
    """Which disk is then judged wrongly, original or copy; empty if none is."""


class MeasuredForm(TypedDict):
    """A rule of a check, and what was measured for it."""

    measure: str
    """What the host program measured."""
    value: float
    """Its value."""
    at_least: float | None
    """The lower bound; null for none."""
    at_most: float | None
    """The upper bound; null for none."""
    unit: str
    """The unit of value, bounds and margin."""
    margin: float
    """The distance to the nearer bound, below 0 beyond it."""


class SpoiledReadForm(TypedDict):
    """A read of status that returned something else."""

    cycle: int
    """Its cycle."""
    observed: int
    """What the core returned."""
    expected: int
    """What the model would have."""


class OffsetForm(TypedDict):
    """How a bit of the core is off."""

    kind: str
    """early, late or long; lost, extra, short or other; unseen if only reads show the field."""
    cycles: int | None
    """By how many cycles, if early, late or long; else null."""


class BlameForm(TypedDict):
    """Where the core first differs from the model in this case."""

    cycle: int
    """The cycle."""
    field: str
    """The field of status."""
    expected: int
    """What the model says."""
    observed: int
    """What the core shows."""
    clause: str
    """The clause of SPEC."""
    event: str
    """What happened there, in words."""
    place: str
    """The place on the track, in words."""
    wrong_cycles: int
    """How many cycles the field is wrong there."""
    access: SpoiledReadForm | None
    """The first read that returned something else; null if none did."""
    off: OffsetForm
    """How the bit is off."""
    tolerance: ToleranceForm | None
    """How far the check lets it be off; null if that was not searched."""


class CheckForm(TypedDict):
    """A check that was run."""

    name: str
    """Its name."""
    number: int
    """Its number, as `--check` takes it."""
    about: str
    """What it tests."""
    watches: list[str]
    """The fields of status it depends on."""


class CellForm(TypedDict):
    """One check on one disk at one host speed and one drive speed, on the model or the core."""

    check: str
    """The check's name."""
    disk: Literal["original", "copy"]
    """Which disk."""
    seed: int
    """The seed of all that is drawn at random."""
    host_speed: str
    """slow, normal or fast."""
    drive_percent: float
    """How much too fast the drive turns."""
    runner: str
    """model, or the simulator that ran the core."""
    must_be: Literal["accept", "refuse"]
    """The right verdict."""
    verdict: str
    """accept or refuse; skipped or error if there is none."""
    right: bool
    """Whether the verdict is the right one."""
    note: str
    """Why there is no measurement or no verdict; else empty."""
    measured: list[MeasuredForm]
    """Each rule with its value."""
    first_mismatch: NotRequired[BlameForm]
    """Where the core first differs from the model; only if it does."""
    reproduce: NotRequired[str]
    """The command that runs this case again; only if the verdict is not right."""


class MatrixForm(TypedDict):
    """The file protect.json."""

    binding: str
    """The binding, as it was given."""
    profile: str
    """Its profile."""
    runners: list[str]
    """The model, and the simulators that ran the core."""
    verdict: str
    """agree, mismatch or error, over all cells."""
    wrong: int
    """Cells whose verdict is wrong or missing."""
    checks: list[CheckForm]
    """The checks."""
    cells: list[CellForm]
    """Every case on every runner."""


class RateForm(TypedDict):
    """How often the model judges one kind of disk wrongly."""

    check: str
    """The check's name."""
    kind: Literal["original", "copy"]
    """Which disk."""
    profile: str
    """The profile."""
    runs: int
    """Disks judged."""
    wrong: int
    """Wrong verdicts."""
    first_wrong: int | None
    """The seed of the first wrong one; null if none is."""
