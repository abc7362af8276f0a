"""A track whose channel bits arrive at the very cycles a scenario names: no drive is like that."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from operator import ge
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field as Key
from pydantic import model_validator

from refmodel.ground.lane import Cycles
from refmodel.ground.yamlfile import Schema
from refmodel.media.seeded import uniform
from refmodel.media.track import Place, Track, random_track
from refmodel.world.levels import Cycle

GAPS = 9  # which stream of random numbers they are drawn from


@dataclass(frozen=True, eq=False)
class TimedTrack(Track):
    """Channel bits and the cycle each arrives at, counted from the first behind the reset."""

    at: tuple[int, ...]
    length: int  # cycles until it begins anew


@dataclass(frozen=True)
class TimedPace:
    """When the channel bits of a timed track arrive; it answers as `Pace` does."""

    track: TimedTrack

    @property
    def cycles(self) -> Fraction:
        """Length of a revolution in cycles."""
        return Fraction(self.track.length)

    @property
    def bits(self) -> int:
        """How many channel bits a revolution has."""
        return len(self.track)

    def begin(self, turn: int, start: int = 0) -> int:
        """Return the cycle in which revolution `turn` begins: its first bit may be in the next."""
        return start + turn * self.track.length - 1

    def turn_at(self, cycle: int, start: int = 0) -> int:
        """Return which revolution the disk is in, from 0 on."""
        return max(0, (cycle - start) // self.track.length)

    def fitting(self, cycles: int) -> int:
        """Return how many whole revolutions fit into so many cycles."""
        return cycles // self.track.length

    def arrivals(self, turn: int, start: int = 0) -> Cycles:
        """Return the cycle in which each channel bit of revolution `turn` arrives."""
        return self.begin(turn, start) + 1 + np.array(self.track.at, np.int64)

    def times(self, position: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return when places of the revolution, in channel bits, pass the head, in cycles."""
        ends = np.concatenate(([0], self.arrivals(0)))
        return np.interp(position, np.arange(len(ends)), ends)


class TimedLayout(Schema):
    """A track of channel bits whose cycles are given."""

    layout: Literal["timed"]
    """Channel bits in exactly the given cycles, as no drive delivers them."""
    at: list[Cycle] = Key(min_length=1)
    """The cycle of each, in order, counted from the first after reset."""
    bits: str = Key(pattern="^[01_]+$")
    """The channel bits as 0 and 1; `_` may part them."""
    cycles: int = Key(ge=1, le=1_000_000_000)
    """Cycles of a revolution."""

    @model_validator(mode="after")
    def _bits_have_their_cycles(self) -> TimedLayout:
        if any(map(ge, self.at, self.at[1:])):
            raise ValueError("at: each cycle must be later than the one before")
        if len(self.bits.replace("_", "")) != len(self.at):
            raise ValueError(f"{len(self.at)} cycles and {len(self.bits)} bits; give one for each")
        if self.at[-1] >= self.cycles:
            raise ValueError(f"at: {self.at[-1]} lies after the last of {self.cycles} cycles")
        return self

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track."""
        del seed, folder
        bits = np.frombuffer(self.bits.replace("_", "").encode(), np.uint8) - ord("0")
        place = Place("timed bits", 0, 0)
        return TimedTrack(bits, (place,), tuple(self.at), self.cycles)


class DenseLayout(Schema):
    """A track that brings together what no disk brings so close."""

    layout: Literal["dense"]
    """Random channel bits, much closer than any disk has them."""
    bits: int = Key(ge=16, le=1_000_000)
    """How many channel bits."""
    gaps: tuple[Annotated[int, Key(ge=1, le=100)], Annotated[int, Key(ge=1, le=100)]]
    """Cycles from bit to bit: the least and the most."""
    marks: int = Key(0, ge=0, le=100_000)
    """How many sync words are among them."""
    mark: int = Key(0x4489, ge=0, le=0xFFFF)
    """The sync word."""

    @model_validator(mode="after")
    def _least_first(self) -> DenseLayout:
        if self.gaps[0] > self.gaps[1]:
            raise ValueError(f"gaps: {self.gaps[0]} is more than {self.gaps[1]}; least first")
        return self

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track; raise UserError when there are more marks than fit."""
        del folder
        bits = random_track(self.bits, seed, marks=self.marks, mark=self.mark).bits
        least, most = self.gaps
        gaps = least + (uniform(self.bits, seed, GAPS) * (most - least + 1)).astype(np.int64)
        ends = np.cumsum(gaps)
        place = Place("dense bits", 0, 0)
        return TimedTrack(bits, (place,), tuple((ends - 1).tolist()), int(ends[-1]))
