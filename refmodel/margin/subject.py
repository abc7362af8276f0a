"""Who is tried: anything that puts pulses into windows."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

from refmodel.ground.lane import Cycles
from refmodel.profile import Profile
from refmodel.separator.choose import make_separator
from refmodel.separator.interface import Followed, Separator
from refmodel.separator.leap import follow
from refmodel.separator.parameters import SeparatorPart


class Subject(Protocol):
    """A separator under trial: a model, or a core in a simulator."""

    @property
    def name(self) -> str:
        """What it is called in tables and plots."""

    def windows(self, pulses: Cycles) -> Cycles:
        """Return, from reset at edge 0, how many windows ended up to the edge of each pulse."""


@dataclass(frozen=True)
class Model:
    """A separator model with a profile's numbers. Can be sent to another process."""

    name: str
    part: SeparatorPart
    cycles_per_bit: Fraction

    @classmethod
    def of(cls, profile: Profile, name: str) -> Model:
        """Return a profile's model; raise UserError for an unknown name or unfit numbers."""
        model = cls(name, profile.separator, profile.separator_cycles_per_bit)
        model.make()
        return model

    def make(self) -> Separator:
        """Return the separator in reset."""
        return make_separator(self.name, self.part, self.cycles_per_bit)

    def windows(self, pulses: Cycles) -> Cycles:
        """Return how many windows ended up to each pulse's edge."""
        return self.follow(pulses).window

    def follow(self, pulses: Cycles) -> Followed:
        """Return how the model, from reset, follows the pulses."""
        return follow(self.make(), pulses)
