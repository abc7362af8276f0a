"""Tracks of sectors as a scenario file says them: MFM, FM or group-coded, or from an image."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field as Key
from pydantic import field_validator, model_validator

from refmodel.ground.content import content_of
from refmodel.ground.errors import UserError, reading
from refmodel.ground.yamlfile import Schema
from refmodel.media.fm import fm_track
from refmodel.media.group import STEPS, group_track
from refmodel.media.sectors import DATA_MARK, DELETED_MARK, Odd
from refmodel.media.track import Track, image_track, iso_track, turned

LONGEST = 10_000_000  # channel bits of a track
Byte = Annotated[int, Key(ge=0, le=255)]
GapBytes = Annotated[int, Key(ge=0, le=LONGEST // 16)]
SectorBytes = Literal[128, 256, 512, 1024, 2048, 4096]
MARKS = {"normal": DATA_MARK, "deleted": DELETED_MARK}
LARGEST_CODE = 7  # 128 << 7 bytes; the ID has no meaning beyond it


class OddSector(Schema):
    """What is odd about one sector: its ID says what is given here, whatever is true."""

    place: int = Key(ge=1, le=256)
    """Which sector: its place after the index, from 1 on."""
    cylinder: Byte | None = None
    """The cylinder in its ID."""
    head: Byte | None = None
    """The head in its ID."""
    number: Byte | None = None
    """The number in its ID."""
    size_code: Byte | None = None
    """The size in its ID, 128 << size_code bytes, 0 to 7; its data is as long as the others'."""
    mark: Literal["normal", "deleted"] = "normal"
    """The mark of its data."""
    id_check: Literal["right", "wrong"] = "right"
    """Whether the check code of the ID is right."""
    data_check: Literal["right", "wrong"] = "right"
    """Whether the check code of the data is right."""
    data: bool = True
    """Whether there is a data field."""

    @field_validator("size_code")
    @classmethod
    def _means_something(cls, value: int | None) -> int | None:
        if value is not None and value > LARGEST_CODE:
            raise ValueError(
                f"'{value}' has no meaning: a sector has 128 << size_code bytes, and 0 .. "
                f"{LARGEST_CODE} are the codes"
            )
        return value

    @model_validator(mode="after")
    def _has_what_it_says(self) -> OddSector:
        if not self.data and (self.mark != "normal" or self.data_check != "right"):
            raise ValueError("data: false leaves out the data field, and with it mark and check")
        return self

    @property
    def odd(self) -> Odd:
        """What the track's builder takes."""
        return Odd(
            cylinder=self.cylinder,
            head=self.head,
            number=self.number,
            size_code=self.size_code,
            mark=MARKS[self.mark],
            id_check_wrong=self.id_check == "wrong",
            data_check_wrong=self.data_check == "wrong",
            no_data=not self.data,
        )


class SectorKeys(Schema):
    """What tracks of sectors have in common, whatever the recording."""

    cylinder: int = Key(0, ge=0, le=255)
    """The cylinder in the IDs."""
    head: int = Key(0, ge=0, le=1)
    """The head in the IDs."""
    numbers: list[Byte] | None = None
    """The sectors' numbers; without it 1, 2, 3 ..."""
    interleave: int = Key(1, ge=1, le=64)
    """Places from one sector to the next in number."""
    skew: int = Key(0, ge=0, le=63)
    """Places from the index to the first sector."""
    odd: list[OddSector] = Key([])
    """Sectors with something wrong."""
    splice: str = Key("", pattern="^[01_]*$")
    """Extra channel bits in the track gap, where writing ended."""
    rotate: int = 0
    """Channel bits by which the track is rotated against the index."""

    @model_validator(mode="after")
    def _odd_once(self) -> SectorKeys:
        places = [part.place for part in self.odd]
        twice = [place for n, place in enumerate(places) if place in places[:n]]
        if twice:
            raise ValueError(f"odd: place {twice[0]} is there twice; say all of it in one entry")
        sectors = getattr(self, "sectors", None)
        beyond = [place for place in places if sectors is not None and place > sectors]
        if beyond:
            raise ValueError(f"odd: place {beyond[0]} is beyond the track's {sectors} sectors")
        return self

    @property
    def which(self) -> dict[str, Any]:
        """What the builders take."""
        return {
            "cylinder": self.cylinder,
            "head": self.head,
            "numbers": self.numbers,
            "interleave": self.interleave,
            "skew": self.skew,
            "odd": {part.place: part.odd for part in self.odd},
        }

    def _turned(self, track: Track) -> Track:
        return turned(track, [int(c) for c in self.splice if c != "_"], self.rotate)


class MfmKeys(SectorKeys):
    """What a track in the ISO layout has, drawn or from an image."""

    sectors: int = Key(9, ge=1, le=64)
    """How many sectors."""
    size: SectorBytes = 512
    """Bytes of a sector."""
    sync: int = Key(12, ge=0, le=10_000)
    """Bytes of zeros before a field."""
    gap2: GapBytes = 22
    """Bytes after an ID."""
    gap3: int = Key(84, ge=1, le=LONGEST // 16)
    """Bytes after a sector."""
    bytes: int = Key(6250, gt=0, le=LONGEST // 16)
    """Bytes of the whole track."""
    lead_in: Literal["long"] | GapBytes = "long"
    """Gap bytes from the index to the first sector; `long`: the 146 bytes with the index mark."""

    @property
    def gaps(self) -> dict[str, Any]:
        """Their lengths as the builder takes them."""
        return {
            "sync": self.sync,
            "gap2": self.gap2,
            "gap3": self.gap3,
            "lead_in": self.lead_in,
            "length_bytes": self.bytes,
        }


class IsoLayout(MfmKeys):
    """A track in the ISO layout, its sectors' data drawn from the run's seed."""

    layout: Literal["iso"]
    """MFM sectors in the ISO layout, their data drawn from the seed."""

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track."""
        del folder
        return self._turned(
            iso_track(self.sectors, self.size, data=seed, **self.gaps, **self.which)
        )


class ImageLayout(MfmKeys):
    """A track in the ISO layout, its sectors' data from a file."""

    layout: Literal["image"]
    """MFM sectors in the ISO layout, their data from a file."""
    file: str
    """The file of sectors in the order of their numbers, wherever they lie; in the scenario's
    folder."""

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track; raise UserError when the file is missing or of another length."""
        del seed
        data = content_of(beside(folder, self.file), LARGEST_IMAGE)
        with reading(Path(self.file)):
            track = image_track(data, self.sectors, self.size, **self.gaps, **self.which)
        return self._turned(track)


class FmLayout(SectorKeys):
    """An FM track; `refmodel.media.fm` has its form."""

    layout: Literal["fm"]
    """FM sectors, as of 8-inch disks."""
    sectors: int = Key(26, ge=1, le=64)
    """How many sectors."""
    size: SectorBytes = 128
    """Bytes of a sector."""
    sync: int = Key(6, ge=0, le=10_000)
    """Bytes of zeros before a field."""
    gap1: GapBytes = 26
    """Bytes after the index mark."""
    gap2: GapBytes = 11
    """Bytes after an ID."""
    gap3: int = Key(27, ge=1, le=LONGEST // 16)
    """Bytes after a sector."""
    bytes: int = Key(5208, gt=0, le=LONGEST // 16)
    """Bytes of the whole track."""
    lead_in: GapBytes = 40
    """Bytes before the index mark."""

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track."""
        del folder
        track = fm_track(
            self.sectors,
            self.size,
            gap3=self.gap3,
            gap2=self.gap2,
            sync=self.sync,
            lead_in=self.lead_in,
            gap1=self.gap1,
            length_bytes=self.bytes,
            data=seed,
            **self.which,
        )
        return self._turned(track)


class GroupLayout(Schema):
    """A group-coded track; `refmodel.media.group` has its form."""

    layout: Literal["group"]
    """Group-coded sectors, with bits of 4 us."""
    sectors: int = Key(10, ge=1, le=64)
    """How many sectors."""
    size: int = Key(256, ge=1, le=4096)
    """Bytes of a sector."""
    cylinder: int = Key(0, ge=0, le=255)
    """The cylinder in the headers."""
    head: int = Key(0, ge=0, le=1)
    """The head in the headers."""
    steps: int = Key(STEPS, ge=1, le=1000)
    """Groups that align the framing before each field."""
    bits: int = Key(50_000, ge=1, le=LONGEST)
    """Channel bits of the whole track."""
    rotate: int = 0
    """Channel bits by which the track is rotated against the index."""

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track."""
        del folder
        track = group_track(
            self.sectors, self.size, self.cylinder, self.head, seed, self.bits, self.steps
        )
        return turned(track, [], self.rotate)


LARGEST_IMAGE = 1 << 26  # bytes


def beside(folder: Path, file: str) -> Path:
    """Return the path of a file a scenario names; UserError for one outside its folder."""
    path = folder / file
    if folder.resolve() not in path.resolve().parents:
        raise UserError(f"{file}: lies outside the scenario's folder {folder}; copy it there")
    return path
