"""What is on a track, as a scenario file says it: one schema a kind of track."""

from __future__ import annotations

from dataclasses import replace
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
from refmodel.media.track import Place, Track, image_track, iso_track, random_track, words_track
from refmodel.world.captured import CapturedTrack
from refmodel.world.revolutions import turns_of

LONGEST = 10_000_000  # channel bits of a track


class IsoLayout(Schema):
    """A track in the ISO layout, with sector data drawn from the run's seed.

    `lead_in` is what lies between index and first sector: `long` for the 146 bytes with the index
    mark, or a number of gap bytes. `numbers` are the sectors' numbers if not 1, 2, 3 ...
    `splice` are channel bits more, left in the track gap where writing ended; `rotate` turns the
    ring by channel bits, so that the index falls somewhere else.
    """

    layout: Literal["iso"]
    sectors: int = Key(9, ge=1, le=64)
    size: Literal[128, 256, 512, 1024, 2048, 4096] = 512
    cylinder: int = Key(0, ge=0, le=255)
    head: int = Key(0, ge=0, le=1)
    gap3: int = Key(84, ge=1, le=LONGEST // 16)
    bytes: int = Key(6250, gt=0, le=LONGEST // 16)
    lead_in: Literal["long"] | Annotated[int, Key(ge=0, le=LONGEST // 16)] = "long"
    numbers: list[Annotated[int, Key(ge=0, le=255)]] | None = None
    splice: str = Key("", pattern="^[01_]*$")
    rotate: int = 0

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track."""
        del folder
        track = iso_track(
            sectors=self.sectors,
            size=self.size,
            cylinder=self.cylinder,
            head=self.head,
            gap3=self.gap3,
            lead_in=self.lead_in,
            length_bytes=self.bytes,
            data=seed,
            numbers=self.numbers,
        )
        return turned(track, [int(c) for c in self.splice if c != "_"], self.rotate)


def turned(track: Track, splice: list[int], rotate: int) -> Track:
    """Return a track with the bits of a splice at its end, and turned so far towards its end."""
    bits = np.concatenate((track.bits, np.array(splice, np.uint8)))
    places = list(track.places) + [Place("splice", len(track), 0)] * bool(splice)
    moved = [replace(p, first_bit=(p.first_bit + rotate) % len(bits)) for p in places]
    moved.sort(key=lambda p: p.first_bit)
    if moved[0].first_bit:  # the place that the index now cuts in two
        moved.insert(0, replace(moved[-1], first_bit=0, name=f"rest of {moved[-1].name}"))
    return Track(np.roll(bits, rotate % len(bits)), tuple(moved))


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


class ImageLayout(Schema):
    """A track made from a file of sectors, one after the other, in the ISO layout."""

    layout: Literal["image"]
    file: str
    sectors: int = Key(9, ge=1, le=64)
    size: Literal[128, 256, 512, 1024, 2048, 4096] = 512
    cylinder: int = Key(0, ge=0, le=255)
    head: int = Key(0, ge=0, le=1)

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track; raise UserError when the file is missing or of another length."""
        del seed
        path = beside(folder, self.file)
        try:
            data = path.read_bytes()
        except OSError as error:
            raise UserError(f"{path}: cannot be read: {error.strerror}") from None
        return image_track(
            data, sectors=self.sectors, size=self.size, cylinder=self.cylinder, head=self.head
        )


def beside(folder: Path, file: str) -> Path:
    """Return the path of a file a scenario names; UserError for one outside its folder."""
    path = (folder / file).resolve()
    if folder.resolve() not in path.parents:
        raise UserError(f"{file}: lies outside the scenario's folder {folder}")
    return path


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


class Run(Schema):
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
    runs: list[Run] = Key(min_length=1)
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
    IsoLayout | WordsLayout | RandomLayout | ImageLayout | RunsLayout,
    Key(discriminator="layout"),
]
ScenarioTrack = Annotated[
    IsoLayout | WordsLayout | RandomLayout | ImageLayout | RunsLayout | CaptureLayout,
    Key(discriminator="layout"),
]
