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
    """A disk goes in or comes out."""

    at_us: Us
    """When, counted from the start of the run."""
    disk: Literal["in", "out"]
    """Whether a disk goes in or out."""
    protected: bool = False
    """The disk that goes in is write-protected."""


class DriveSource(Schema):
    """What is on a drive's disk from some time on."""

    from_us: Us = 0
    """The time from which it is there, counted from the start of the run."""
    track: ScenarioTrack
    """The track for all cylinders. In ISO layout, generated or from an image, its ID fields have
    the right cylinder and head; an image may hold a whole disk."""


class DrivePart(Schema):
    """One drive: its select, its kind, its disk and its state at the start."""

    select: int = Key(ge=0, le=3)
    """Its select line."""
    profile: str = "mm90"
    """Its kind: a drive profile by name, or a YAML file."""
    disk: Literal["in", "out"] = "in"
    """Whether a disk is in it at the start."""
    protected: bool = False
    """That disk is write-protected."""
    turning: bool = False
    """Its motor is at speed at the start."""
    cylinder: int = Key(0, ge=0, le=255)
    """Where its head is at the start."""
    angle: float = Key(0, ge=0, lt=1)
    """How far the disk has turned at the start, in revolutions."""
    sources: list[DriveSource] = Key([])
    """What is on its disk, one after the other; without it the scenario's `track`."""
    swaps: list[Swap] = Key([])
    """When disks go in and out."""

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
    """Every drive of a scenario, and the link they hang on, if any."""

    units: list[DrivePart] = Key(min_length=1, max_length=4)
    """The drives."""
    link: LinkSettings | None = None
    """The serial link that lines go through, if any do."""
    gate_held: bool = False
    """A jumper that holds the write gate open, whatever the core does."""

    @model_validator(mode="after")
    def _one_on_a_select(self) -> DriveSetup:
        selects = [unit.select for unit in self.units]
        for select in selects:
            if selects.count(select) > 1:
                raise ValueError(
                    f"units: two drives answer select {select}; give each a select of its own"
                )
        return self
