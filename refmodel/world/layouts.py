"""What is on a track, as a scenario file says it: one schema a kind of track."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import Field as Key
from pydantic import field_validator

from refmodel.ground.errors import UserError, reading
from refmodel.ground.yamlfile import Schema, exact_number
from refmodel.media.flux_list import Reading, read_flux
from refmodel.media.mfm import word_bits
from refmodel.media.survey import places_of
from refmodel.media.track import Place, Track, random_track, turned, words_track
from refmodel.world.captured import CapturedTrack
from refmodel.world.revolutions import turns_of
from refmodel.world.sector_layouts import (
    LONGEST,
    FmLayout,
    GroupLayout,
    ImageLayout,
    IsoLayout,
    beside,
)
from refmodel.world.timed import DenseLayout, TimedLayout


def _check_length(bits: int) -> None:
    """Raise UserError for a track of more channel bits than any disk has."""
    if bits > LONGEST:
        raise UserError(f"{bits} channel bits are too many for a track; {LONGEST} at most")


class WordsLayout(Schema):
    """A track of raw words of channel bits."""

    layout: Literal["words"]
    """Words of channel bits."""
    words: list[Annotated[int, Key(ge=0, le=0xFFFF)]] = Key(min_length=1)
    """Words of 16 channel bits."""
    repeat: int = Key(1, ge=1, le=100_000)
    """How often."""

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track; raise UserError when it is too long."""
        del seed, folder
        _check_length(16 * len(self.words) * self.repeat)
        return words_track(self.words * self.repeat)


class RandomLayout(Schema):
    """A track of random channel bits drawn from the run's seed."""

    layout: Literal["random"]
    """Channel bits drawn from the seed."""
    bits: int = Key(100_000, ge=16, le=LONGEST)
    """How many channel bits."""
    marks: int = Key(0, ge=0, le=10_000)
    """How many sync words are among them."""
    mark: int = Key(0x4489, ge=0, le=0xFFFF)
    """The sync word."""

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track."""
        del folder
        return random_track(self.bits, seed, marks=self.marks, mark=self.mark)


class CaptureLayout(Schema):
    """A track as it was read from a disk; `refmodel.media.flux_list` says in what files."""

    layout: Literal["capture"]
    """Flux read from a disk, cut into revolutions by its index pulses."""
    file: str
    """The file of flux, in the scenario's folder."""
    rate: Fraction | None = None
    """Ticks a second that the file's numbers are counted in, e.g. 24000000; without it they are
    ns."""
    channel_bit_ns: int = Key(2000, ge=100, le=1_000_000)
    """The length of a channel bit in nanoseconds, to name its places."""

    @field_validator("rate", mode="before")
    @classmethod
    def _exact_rate(cls, value: object) -> Fraction | None:
        if value is None:
            return None
        rate = exact_number(value)
        if rate is None or rate <= 0:
            raise ValueError(f"'{value}' is not a rate in ticks per second, e.g. 24000000")
        return rate

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track; raise UserError when the file is no flux, or holds no revolution."""
        del seed
        path = beside(folder, self.file)
        flux = read_flux(path, Reading(rate=self.rate))
        with reading(path):
            turns = turns_of(flux, self.channel_bit_ns)
        return CapturedTrack.of(turns, places_of(turns.overlay.bits))


class WordRun(Schema):
    """A run of channel bits: words, or the bits one by one."""

    words: list[Annotated[int, Key(ge=0, le=0xFFFF)]] = Key([])
    """Words of 16 channel bits."""
    bits: str = Key("", pattern="^[01_]*$")
    """Channel bits as 0 and 1, after the words; `_` may separate them."""
    repeat: int = Key(1, ge=1, le=100_000)
    """How often."""

    @property
    def length(self) -> int:
        """Number of channel bits, at most."""
        return (16 * len(self.words) + len(self.bits)) * self.repeat

    def channel_bits(self) -> list[int]:
        """Return the channel bits, those of `words` first."""
        text = [int(c) for c in self.bits if c != "_"]
        words = word_bits(self.words).tolist() if self.words else []
        return (words + text) * self.repeat


class RunsLayout(Schema):
    """A track made run by run."""

    layout: Literal["runs"]
    """Runs of channel bits, MFM or not, one after the other."""
    runs: list[WordRun] = Key(min_length=1)
    """The runs."""
    rotate: int = 0
    """Channel bits by which the track is rotated; what lies across the index then moves."""

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track; raise UserError when its runs hold no channel bit, or too many."""
        del seed, folder
        _check_length(sum(run.length for run in self.runs))
        bits: list[int] = []
        first: list[int] = []
        for run in self.runs:
            first.append(len(bits))
            bits += run.channel_bits()
        if not bits:
            raise UserError("its runs hold no channel bit")
        places = (Place(f"run {n + 1}", at, unit="word") for n, at in enumerate(first))
        return turned(Track(np.array(bits, np.uint8), tuple(places)), [], self.rotate)


TrackLayout = Annotated[
    IsoLayout | FmLayout | GroupLayout | WordsLayout | RandomLayout | ImageLayout | RunsLayout,
    Key(discriminator="layout"),
]
ScenarioTrack = Annotated[
    IsoLayout
    | FmLayout
    | GroupLayout
    | WordsLayout
    | RandomLayout
    | ImageLayout
    | RunsLayout
    | CaptureLayout
    | TimedLayout
    | DenseLayout,
    Key(discriminator="layout"),
]
