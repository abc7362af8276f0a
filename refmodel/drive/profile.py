"""Drive profiles: the times of one kind of mechanism, each with its spread and where it is from."""

from __future__ import annotations

import random
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Annotated, ClassVar, Literal

from pydantic import Field as Key
from pydantic import model_validator

from refmodel.ground.errors import UserError, near
from refmodel.ground.yamlfile import Schema, ShortForm, load

PROFILES = Path(str(resources.files("refmodel"))) / "drive" / "profiles"
LONGEST_US = 60_000_000
Percent = Annotated[float, Key(ge=-25, le=25)]
Time = Annotated[float, Key(ge=0, le=LONGEST_US)]


class Published(ShortForm):
    """A time in microseconds: `15000`, or what is used, the spread of published data, the source.

    `{use: 15000, spread: [15000, 20000], source: "..."}`
    """

    short: ClassVar[str] = "use"
    called: ClassVar[tuple[str, str]] = ("a time", "times")
    use: Time
    """The time that is used, in microseconds."""
    spread: list[Time] | None = Key(None, min_length=2, max_length=2)
    """The range of published values, in microseconds."""
    source: str = ""
    """The source."""

    @model_validator(mode="after")
    def _inside(self) -> Published:
        if self.spread is not None and not self.spread[0] <= self.use <= self.spread[1]:
            low, high = self.spread
            raise ValueError(f"{self.use:g} is outside its spread, {low:g} to {high:g}")
        return self

    def drawn(self, at: float) -> Published:
        """Return the time `at` between the ends of its spread, 0 to 1; the same without one."""
        if self.spread is None:
            return self
        low, high = self.spread
        return self.model_copy(update={"use": round(low + at * (high - low), 3)})


class Speed(ShortForm):
    """The error of the long-term speed in percent, with its spread and source."""

    short: ClassVar[str] = "use"
    called: ClassVar[tuple[str, str]] = ("a speed error", "speed errors")
    use: Percent = 0
    """The error that is used, in percent."""
    spread: list[Percent] | None = Key(None, min_length=2, max_length=2)
    """The range of published values, in percent."""
    source: str = ""
    """The source."""


class Motor(Schema):
    """How the disk spins up, and which line shows it."""

    spin_up_us: Published
    """From motor on until the disk is at speed."""
    spin_down_us: Published
    """From motor off until the disk has stopped."""
    turned_on_by: Literal["line", "latched_on_select"] = "line"
    """Whether the drive follows the motor line, or samples it when selected."""
    source: str = ""
    """The source of that."""


class Index(Schema):
    """The index pulse: its width, and how far from its place it may come."""

    width_us: Published
    """The width of the pulse."""
    jitter_us: Published
    """How far it may be off."""


class StepTimes(Schema):
    """What a step pulse must be, and what the head does with it."""

    acts_on: Literal["leading", "trailing"]
    """The edge of a step pulse that acts."""
    acts_on_source: str = ""
    """The source of that."""
    pulse_us: Published
    """The least width of a pulse."""
    period_us: Published
    """The least time from step to step."""
    direction_setup_us: Published
    """How long direction is stable before a step."""
    direction_hold_us: Published
    """How long direction is stable after a step."""
    reversal_us: Published
    """The least time from a step to one the other way."""
    settle_us: Published
    """From the last step until the head has settled."""


class WriteTimes(Schema):
    """When the write gate may open, and what must follow it."""

    after_motor_us: Published
    """From motor on until the gate may open."""
    after_step_us: Published
    """From the last step until it may."""
    after_select_us: Published
    """From the select until it may."""
    after_side_us: Published
    """From a change of side until it may."""
    first_pulse_us: Published
    """The longest time from the gate to the first pulse."""
    hold_us: Published
    """How long the erase current flows after the gate closes; until then no step, no change of side
    or drive."""


class DriveProfile(Schema):
    """One kind of drive."""

    name: str
    """The profile's name."""
    about: str = ""
    """A sentence about it."""
    turns_a_minute: Literal[300, 360]
    """The speed in turns per minute (rpm)."""
    speed_percent: Speed = Speed()
    """The error of the long-term speed."""
    cylinders: int = Key(ge=1, le=256)
    """How many cylinders the head can reach."""
    sides: int = Key(2, ge=1, le=2)
    """How many sides."""
    motor: Motor
    """The motor."""
    index: Index
    """The index pulse."""
    step: StepTimes
    """Steps."""
    side_settle_us: Published
    """From a change of side until it reads well."""
    density_settle_us: Published
    """From a change of density until it reads well."""
    write: WriteTimes
    """The write gate."""

    @property
    def turn_us(self) -> float:
        """Length of a revolution at the drive's own speed."""
        return 60_000_000 / self.turns_a_minute / (1 + self.speed_percent.use / 100)

    def drawn(self, seed: int) -> DriveProfile:
        """Return a drive of this kind, each time drawn from its spread by the seed."""
        rng = random.Random(f"{self.name} {seed}")
        changes: dict[str, object] = {}
        for name, value in self:
            if isinstance(value, Published):
                changes[name] = value.drawn(rng.random())
            elif isinstance(value, Motor | Index | StepTimes | WriteTimes):
                times = {n: t.drawn(rng.random()) for n, t in value if isinstance(t, Published)}
                changes[name] = value.model_copy(update=times)
        low, high = self.speed_percent.spread or (self.speed_percent.use,) * 2
        changes["speed_percent"] = Speed(use=round(rng.uniform(low, high), 4))
        return self.model_copy(update=changes)


def drive_profile_names() -> list[str]:
    """Return the names of the drive profiles that ship."""
    return sorted(path.stem for path in PROFILES.glob("*.yaml"))


@cache
def _shipped(name: str) -> DriveProfile:
    return load(PROFILES / f"{name}.yaml").validate(DriveProfile)


def load_drive_profile(name: str, folder: Path | None = None) -> DriveProfile:
    """Load a shipped drive profile by name, or a file by path (relative to `folder`).

    Raises UserError when there is none of that name, InputError for a file that is wrong.
    """
    known = drive_profile_names()
    if name in known:
        return _shipped(name)
    path = Path(name) if folder is None else folder / name
    if path.suffix in (".yaml", ".yml"):
        return load(path).validate(DriveProfile)
    raise UserError(f"drive profile '{name}': no such profile{near(name, known)}")
