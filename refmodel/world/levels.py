"""Level inputs as a scenario says them: held, toggling, or up once."""

from __future__ import annotations

from fractions import Fraction
from math import ceil
from typing import Annotated, Literal

import numpy as np
from pydantic import Field as Key
from pydantic import model_validator

from refmodel.ground.lane import Lane
from refmodel.ground.yamlfile import Schema
from refmodel.profile import Profile

LONGEST_RUN = 4_294_000_000  # cycles: a harness counts in 32 bits, and a bus may be 256 cycles late
MOST_CHANGES = 10_000_000  # of a level input in one revolution
Cycle = Annotated[int, Key(ge=0, le=LONGEST_RUN)]
Cycles = Annotated[int, Key(ge=1, le=LONGEST_RUN)]
LevelName = Literal["dma_active", "writing", "wait_for_sync", "master_enable", "channel_enable"]
Held = Annotated[int, Key(ge=0, le=1)]


class Toggling(Schema):
    """A level that changes again and again."""

    toggle_every: Cycles
    """1 from the end of reset on; it changes each time this many cycles have passed."""

    def fault(self, revolution: Fraction) -> str:
        """Say why a revolution of so many cycles cannot be laid out; nothing if it can."""
        least = ceil(revolution / MOST_CHANGES)
        if self.toggle_every >= least:
            return ""
        return (
            f"'{self.toggle_every}' makes {int(revolution / self.toggle_every)} changes in a"
            f" revolution, {MOST_CHANGES} at most; give {least} or more"
        )


class Raised(Schema):
    """A level that is 1 once."""

    rise: Cycle
    """When it goes to 1."""
    fall: Cycle
    """When it goes back to 0."""
    unit: Literal["cycles", "bits"] = "cycles"
    """The unit of both: cycles, or nominal channel bits."""

    @model_validator(mode="after")
    def _in_order(self) -> Raised:
        if self.fall <= self.rise:
            raise ValueError(f"fall {self.fall} must come after rise {self.rise}")
        return self


class Changing(Schema):
    """A level that changes at given cycles."""

    changes_at: list[Cycle] = Key(max_length=MOST_CHANGES)
    """0 in reset; it changes in each of these cycles."""

    @model_validator(mode="after")
    def _in_order(self) -> Changing:
        if sorted(set(self.changes_at)) != self.changes_at:
            raise ValueError("changes_at: each cycle must be later than the one before")
        return self


Level = Held | Toggling | Raised | Changing


def in_cycles(level: Level, profile: Profile) -> Level:
    """Return a level with its times in cycles of a profile."""
    if not isinstance(level, Raised) or level.unit == "cycles":
        return level
    rise, fall = (round(at * profile.cycles_per_bit) for at in (level.rise, level.fall))
    return Raised(rise=rise, fall=fall)


def lane_of(level: Level, start: int, first: int, end: int) -> Lane:
    """Return a level in cycles `first` .. `end - 1`; it is 0 in reset, before cycle `start`."""
    if isinstance(level, Toggling):
        every = level.toggle_every
        so_far = max(0, (first - start) // every + 1)
        later = np.arange(start + so_far * every, end, every)
        return Lane.of(np.concatenate(([first], later)), (so_far + np.arange(len(later) + 1)) % 2)
    if isinstance(level, Changing):
        at = np.array([0, *(max(start, cycle) for cycle in level.changes_at)], np.int64)
        return Lane.of(at, np.arange(len(at)) % 2).between(first, end)
    if isinstance(level, Raised):
        rise = max(level.rise, start)
        lane = Lane.of(np.array([0, rise, max(level.fall, rise)]), np.array([0, 1, 0]))
    else:
        lane = Lane.of(np.array([0, start]), np.array([0, level]))
    return lane.between(first, end)
