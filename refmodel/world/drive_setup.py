"""The drives of a scenario, as its file says them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field as Key
from pydantic import model_validator

from refmodel.drive.link_settings import LinkSettings
from refmodel.drive.mechanism import Inserted, Mechanism
from refmodel.drive.profile import DriveProfile, load_drive_profile
from refmodel.drive.ticks import Ticks
from refmodel.ground.errors import UserError
from refmodel.ground.yamlfile import Schema
from refmodel.world.layouts import ScenarioTrack

LONGEST_US = 1_000_000_000
Us = Annotated[int, Key(ge=0, le=LONGEST_US)]


class Swap(Schema):
    """At `at_us` a disk goes in or comes out."""

    at_us: Us
    disk: Literal["in", "out"]
    protected: bool = False


class DriveSource(Schema):
    """From `from_us` on the drive's disk holds `tracks`, or one track for all cylinders.

    A track in ISO layout, made or from an image, has the cylinder and head it is under written in
    its ID fields.
    """

    from_us: Us = 0
    track: ScenarioTrack


class DrivePart(Schema):
    """One drive: which select is its own, its kind, what is in it and how it stands at the start.

    `turning` says that its motor has been on for long. `sources` are what is on its disk, one after
    the other; the scenario's `track` without them. `changes` are keys of the profile set anew.
    """

    select: int = Key(ge=0, le=3)
    profile: str = "mm90"
    disk: Literal["in", "out"] = "in"
    protected: bool = False
    turning: bool = False
    cylinder: int = Key(0, ge=0, le=255)
    angle: float = Key(0, ge=0, lt=1)
    sources: list[DriveSource] = Key([])
    swaps: list[Swap] = Key([])

    @property
    def inserted(self) -> Inserted | None:
        """The disk in it at the start."""
        return Inserted(self.protected) if self.disk == "in" else None

    def load_profile(self, folder: Path) -> DriveProfile:
        """Return its profile; raise UserError for one that is not there or does not fit."""
        profile = load_drive_profile(self.profile, folder)
        if self.cylinder >= profile.cylinders:
            raise UserError(
                f"cylinder: '{self.cylinder}' is not on drive {self.select}, whose profile"
                f" {profile.name} has {profile.cylinders}"
            )
        return profile

    def mechanism(self, folder: Path, ticks: Ticks, seed: int) -> Mechanism:
        """Return the drive as it stands at the start."""
        profile = self.load_profile(folder)
        made = Mechanism(
            self.select, profile, ticks, seed, self.inserted, self.cylinder, self.angle
        )
        if self.turning:
            made.keep_turning()
        return made


class DriveSetup(Schema):
    """Every drive of a scenario, and the link they hang on, if any.

    `gate_held` is a jumper that holds the write gate open, whatever the core does.
    """

    units: list[DrivePart] = Key(min_length=1, max_length=4)
    link: LinkSettings | None = None
    gate_held: bool = False

    @model_validator(mode="after")
    def _one_on_a_select(self) -> DriveSetup:
        selects = [unit.select for unit in self.units]
        for select in selects:
            if selects.count(select) > 1:
                raise ValueError(
                    f"units: two drives answer select {select}; give each a select of its own"
                )
        return self
