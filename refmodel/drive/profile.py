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
    use: Time
    spread: list[Time] | None = Key(None, min_length=2, max_length=2)
    source: str = ""

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
    use: Percent = 0
    spread: list[Percent] | None = Key(None, min_length=2, max_length=2)
    source: str = ""


class Motor(Schema):
    """How the disk comes to speed, and which line says so."""

    spin_up_us: Published
    spin_down_us: Published
    turned_on_by: Literal["line", "latched_on_select"] = "line"
    source: str = ""


class Index(Schema):
    """The index pulse: its width, and how far from its place it may come."""

    width_us: Published
    jitter_us: Published


class StepTimes(Schema):
    """What a step pulse must be, and what the head does with it."""

    acts_on: Literal["leading", "trailing"]
    acts_on_source: str = ""
    pulse_us: Published
    period_us: Published
    direction_setup_us: Published
    direction_hold_us: Published
    reversal_us: Published
    settle_us: Published


class WriteTimes(Schema):
    """When the write gate may open, and what must follow it.

    `hold_us` is how long after the gate the erase current still flows: until then no step, no
    other side, no other drive.
    """

    after_motor_us: Published
    after_step_us: Published
    after_select_us: Published
    after_side_us: Published
    first_pulse_us: Published
    hold_us: Published


class DriveProfile(Schema):
    """One kind of drive. All times in microseconds."""

    name: str
    about: str = ""
    turns_a_minute: Literal[300, 360]
    speed_percent: Speed = Speed()
    cylinders: int = Key(ge=1, le=256)
    sides: int = Key(2, ge=1, le=2)
    motor: Motor
    index: Index
    step: StepTimes
    side_settle_us: Published
    density_settle_us: Published
    write: WriteTimes

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
