"""Tracks of sectors as a scenario file says them: MFM, FM or group-coded, or from an image."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field as Key
from pydantic import field_validator, model_validator

from refmodel.ground.errors import UserError
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
    """What is odd about the sector in a `place`, counted from 1 behind the index.

    `cylinder`, `head`, `number` and `size_code` stand in its ID whatever is true; its data is as
    long as the track's other sectors'. `mark` is that of the data, `id_check` and `data_check`
    whether the check codes are right, `data: false` leaves the data field out.
    """

    place: int = Key(ge=1, le=256)
    cylinder: Byte | None = None
    head: Byte | None = None
    number: Byte | None = None
    size_code: Byte | None = None
    mark: Literal["normal", "deleted"] = "normal"
    id_check: Literal["right", "wrong"] = "right"
    data_check: Literal["right", "wrong"] = "right"
    data: bool = True

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
    """What tracks of sectors have in common, whatever the recording.

    `numbers` are the sectors' numbers if not 1, 2, 3 ... `interleave` and `skew` say where they
    lie: the next one so many places behind, the first so many behind the index. `odd` lists
    sectors with something wrong. `splice` are channel bits more, left in the track gap where
    writing ended; `rotate` turns the ring by channel bits, so that the index falls somewhere else.
    """

    cylinder: int = Key(0, ge=0, le=255)
    head: int = Key(0, ge=0, le=1)
    numbers: list[Byte] | None = None
    interleave: int = Key(1, ge=1, le=64)
    skew: int = Key(0, ge=0, le=63)
    odd: list[OddSector] = Key([])
    splice: str = Key("", pattern="^[01_]*$")
    rotate: int = 0

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
    """What a track in the ISO layout has, drawn or from an image.

    `lead_in` is what lies between index and first sector: `long` for the 146 bytes with the index
    mark, or a number of gap bytes. `sync` are the zeros before a field, `gap2` and `gap3` the bytes
    behind an ID and behind a sector.
    """

    sectors: int = Key(9, ge=1, le=64)
    size: SectorBytes = 512
    sync: int = Key(12, ge=0, le=10_000)
    gap2: GapBytes = 22
    gap3: int = Key(84, ge=1, le=LONGEST // 16)
    bytes: int = Key(6250, gt=0, le=LONGEST // 16)
    lead_in: Literal["long"] | GapBytes = "long"

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
    """A track in the ISO layout, with sector data drawn from the run's seed."""

    layout: Literal["iso"]

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track."""
        del folder
        return self._turned(
            iso_track(self.sectors, self.size, data=seed, **self.gaps, **self.which)
        )


class ImageLayout(MfmKeys):
    """A track made from a file of sectors in the ISO layout.

    The file holds them one after the other in the order of their numbers, wherever they lie.
    """

    layout: Literal["image"]
    file: str

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track; raise UserError when the file is missing or of another length."""
        del seed
        path = beside(folder, self.file)
        try:
            data = path.read_bytes()
        except OSError as error:
            raise UserError(f"{path}: cannot be read: {error.strerror}") from None
        return self._turned(image_track(data, self.sectors, self.size, **self.gaps, **self.which))


class FmLayout(SectorKeys):
    """An FM track, as of 8-inch disks: see `refmodel.media.fm`."""

    layout: Literal["fm"]
    sectors: int = Key(26, ge=1, le=64)
    size: SectorBytes = 128
    sync: int = Key(6, ge=0, le=10_000)
    gap1: GapBytes = 26
    gap2: GapBytes = 11
    gap3: int = Key(27, ge=1, le=LONGEST // 16)
    bytes: int = Key(5208, gt=0, le=LONGEST // 16)
    lead_in: GapBytes = 40

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
    """A group-coded track: see `refmodel.media.group`. Its bits are meant to be 4 us long."""

    layout: Literal["group"]
    sectors: int = Key(10, ge=1, le=64)
    size: int = Key(256, ge=1, le=4096)
    cylinder: int = Key(0, ge=0, le=255)
    head: int = Key(0, ge=0, le=1)
    steps: int = Key(STEPS, ge=1, le=1000)
    bits: int = Key(50_000, ge=1, le=LONGEST)
    rotate: int = 0

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track."""
        del folder
        track = group_track(
            self.sectors, self.size, self.cylinder, self.head, seed, self.bits, self.steps
        )
        return turned(track, [], self.rotate)


def beside(folder: Path, file: str) -> Path:
    """Return the path of a file a scenario names; UserError for one outside its folder."""
    path = (folder / file).resolve()
    if folder.resolve() not in path.parents:
        raise UserError(f"{file}: lies outside the scenario's folder {folder}")
    return path
