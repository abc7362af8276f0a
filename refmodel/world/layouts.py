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
    """A track of raw 16-bit words of channel bits, repeated `repeat` times."""

    layout: Literal["words"]
    words: list[Annotated[int, Key(ge=0, le=0xFFFF)]] = Key(min_length=1)
    repeat: int = Key(1, ge=1, le=100_000)

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track; raise UserError when it is too long."""
        del seed, folder
        _check_length(16 * len(self.words) * self.repeat)
        return words_track(self.words * self.repeat)


class RandomLayout(Schema):
    """A track of random channel bits drawn from the run's seed, `marks` sync words among them."""

    layout: Literal["random"]
    bits: int = Key(100_000, ge=16, le=LONGEST)
    marks: int = Key(0, ge=0, le=10_000)
    mark: int = Key(0x4489, ge=0, le=0xFFFF)

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track."""
        del folder
        return random_track(self.bits, seed, marks=self.marks, mark=self.mark)


class CaptureLayout(Schema):
    """A track as it was read from a disk: a file of flux, see `refmodel.media.flux_list`.

    Index pulses cut it into revolutions. `rate` says that its numbers are ticks of so many a
    second, `channel_bit_ns` how long a channel bit is, to name its places.
    """

    layout: Literal["capture"]
    file: str
    rate: Fraction | None = None
    channel_bit_ns: int = Key(2000, ge=100, le=1_000_000)

    @field_validator("rate", mode="before")
    @classmethod
    def _exact_rate(cls, value: object) -> Fraction | None:
        if value is None:
            return None
        rate = exact_number(value)
        if rate is None or rate <= 0:
            raise ValueError(f"'{value}' is no rate in ticks a second, e.g. 24000000")
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
    """A run of channel bits: `words` of 16 or a text of `bits`, `repeat` times over."""

    words: list[Annotated[int, Key(ge=0, le=0xFFFF)]] = Key([])
    bits: str = Key("", pattern="^[01_]*$")
    repeat: int = Key(1, ge=1, le=100_000)

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
    """A track of runs of channel bits, MFM or not, one behind the other.

    `rotate` turns the ring by so many channel bits: what the index cuts in two then moves there.
    """

    layout: Literal["runs"]
    runs: list[WordRun] = Key(min_length=1)
    rotate: int = 0

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
