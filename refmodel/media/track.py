"""Tracks: one revolution of channel bits as a ring, with a name for every place on it.

The ISO layout is, byte for byte, the one published in drive manuals and controller data sheets
(8-inch drive manual 1979-82, p. 36; FDC37B78x p. 62; LPC47S457 p. 56).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple, TypedDict, Unpack

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.errors import UserError
from refmodel.media.crc import crc_bytes
from refmodel.media.mfm import BITS_PER_BYTE, MARK_A1, MARKS, Bits, encode, word_bits
from refmodel.media.seeded import random_bytes

LeadIn = Literal["long"] | int
SIZES = tuple(128 << code for code in range(8))  # by the size code in the ID field
GAP = b"\x4e"
SYNC = bytes(12)
A1 = b"\xa1\xa1\xa1"
C2 = b"\xc2\xc2\xc2"


@dataclass(frozen=True, slots=True)
class Place:
    """A named stretch of a track, from channel bit `first_bit` to the next place.

    It is counted in units of `unit_bits` channel bits; 0 counts channel bits alone.
    """

    name: str
    first_bit: int
    unit_bits: int = BITS_PER_BYTE
    unit: str = "byte"

    def describe(self, offset: int) -> str:
        """Name the channel bit `offset` bits into the place; all counts begin at 0."""
        if not self.unit_bits:
            return f"{self.name}, channel bit {offset}"
        unit, bit = divmod(offset, self.unit_bits)
        return f"{self.name}, {self.unit} {unit}, channel bit {bit}"


@dataclass(frozen=True, eq=False)
class Track:
    """One whole revolution: the last of `bits` is followed by the first. Made read-only.

    `places` are ordered by their first bit; the last one runs on over the end of the ring.
    """

    bits: Bits
    places: tuple[Place, ...]

    def __post_init__(self) -> None:
        if not len(self.bits):
            raise UserError("a track needs at least one channel bit")
        self.bits.setflags(write=False)

    def __len__(self) -> int:
        return len(self.bits)

    def place(self, bit_index: int) -> str:
        """Name the place of a channel bit, such as "sector 3 data, byte 17, channel bit 5".

        The index may lie in any revolution: bit k of revolution r is r * len(track) + k.
        """
        index = bit_index % len(self.bits)
        place = self.places[bisect_right(self.places, index, key=lambda p: p.first_bit) - 1]
        return place.describe((index - place.first_bit) % len(self.bits))


class Piece(NamedTuple):
    """A named run of bytes; the first `marks` of them, A1 or C2, lack a clock."""

    name: str
    data: bytes
    marks: int = 0


def join(pieces: Sequence[Piece]) -> Track:
    """Return the pieces, in order, as a ring of MFM; the last data bit decides the first clock."""
    data = b"".join(piece.data for piece in pieces)
    bits = encode(data, previous=data[-1] & 1 if data else 0)
    words = bits.reshape(-1, BITS_PER_BYTE)
    places, first = [], 0
    for piece in pieces:
        if piece.data:
            places.append(Place(piece.name, first * BITS_PER_BYTE))
        for n in range(piece.marks):
            words[first + n] = word_bits(MARKS[piece.data[n]])
        first += len(piece.data)
    return Track(bits, tuple(places))


def words_track(words: Sequence[int] | NDArray[np.integer]) -> Track:
    """Return a track of raw 16-bit words, top bit first, MFM or not."""
    return Track(word_bits(words), (Place("raw words", 0, unit="word"),))


def random_track(bits: int, seed: int, marks: int = 0, mark: int = MARK_A1) -> Track:
    """Return a track of `bits` channel bits, each 0 or 1 alike: mostly no MFM.

    The 16-bit word `mark` is written over them `marks` times, once in each equal part of the
    track, at a random bit. Raises UserError when there are more marks than fit.
    """
    _check("bits", bits, 1)
    _check("marks", marks, 0, bits // BITS_PER_BYTE)
    ones = np.unpackbits(np.frombuffer(random_bytes((bits + 7) // 8, seed), np.uint8))[:bits]
    part = bits // max(marks, 1)
    offsets = np.frombuffer(random_bytes(8 * marks, seed, marks), "<u8") % max(part - 15, 1)
    for n, offset in enumerate(offsets.tolist()):
        ones[n * part + offset :][:BITS_PER_BYTE] = word_bits(mark)
    return Track(ones, (Place("random bits", 0, unit_bits=0),))


class Layout(TypedDict, total=False):
    """What `iso_track` takes besides the number, size and data of the sectors."""

    cylinder: int
    head: int
    gap3: int
    lead_in: LeadIn
    length_bytes: int
    first_sector: int
    numbers: Sequence[int] | None


def iso_track(
    sectors: int = 9,
    size: int = 512,
    cylinder: int = 0,
    head: int = 0,
    gap3: int = 84,
    lead_in: LeadIn = "long",
    data: Sequence[bytes] | int | None = None,
    length_bytes: int = 6250,
    first_sector: int = 1,
    numbers: Sequence[int] | None = None,
) -> Track:
    """Return an ISO-layout MFM track of `length_bytes`, its sectors numbered from `first_sector`.

    `numbers` gives them other numbers instead, in any order, also twice.

    `lead_in` is "long" (146 bytes with the index mark) or a number of gap bytes. `gap3` is all
    that stands between a sector's CRC and the next sector's sync, the byte in which the write gate
    goes off included; what is left after the last one is the track gap. `data` is the contents of
    each sector, or a seed (None is 0) for `random_bytes(..., seed, cylinder, head)`.
    Raises UserError when a value is out of range or the layout does not fit.
    """
    _check("sectors", sectors, 1, 256)
    _check("cylinder", cylinder, 0, 255)
    _check("head", head, 0, 255)
    _check("gap3", gap3, 0)
    _check("length_bytes", length_bytes, 1)
    _check("first_sector", first_sector, 0, 256 - sectors)
    if size not in SIZES:
        raise UserError(f"size: {size} is no sector size; known: {', '.join(map(str, SIZES))}")
    if data is None or isinstance(data, int):
        data = _random_data(sectors, size, data or 0, cylinder, head)
    _check_data(data, sectors, size)
    if numbers is None:
        numbers = range(first_sector, first_sector + sectors)
    _check("numbers", len(numbers), sectors, sectors)
    start = _lead_in(lead_in)
    body = [
        piece
        for n, contents in zip(numbers, data, strict=True)
        for piece in _sector(bytes((cylinder, head, n, SIZES.index(size))), contents, gap3)
    ]
    spare = length_bytes - _length(start) - _length(body)
    if spare < 0:
        raise UserError(_too_long(sectors, size, gap3, length_bytes, _length(start)))
    return join([*start, *body, Piece("track gap", GAP * spare)])


def image_track(image: bytes, sectors: int = 9, size: int = 512, **layout: Unpack[Layout]) -> Track:
    """Return the ISO-layout track whose sectors hold `image`, cut up in order.

    Raises UserError when the image is not `sectors * size` bytes, and as `iso_track` does.
    """
    if len(image) != sectors * size:
        raise UserError(
            f"the image of a track has {len(image)} bytes;"
            f" {sectors} sectors of {size} are {sectors * size}"
        )
    data = [image[first : first + size] for first in range(0, len(image), max(size, 1))]
    return iso_track(sectors, size, data=data, **layout)


def _lead_in(form: LeadIn) -> list[Piece]:
    """Return what stands between the index and the first sector."""
    if form == "long":
        return [
            Piece("index gap", GAP * 80),
            Piece("index sync", SYNC),
            Piece("index mark", C2 + b"\xfc", marks=3),
            Piece("gap 1", GAP * 50),
        ]
    if not isinstance(form, int):
        raise UserError(f"lead_in: '{form}' is neither \"long\" nor a number of bytes")
    _check("lead_in", form, 0)
    return [Piece("index gap", GAP * form)]


def _sector(identity: bytes, contents: bytes, gap3: int) -> list[Piece]:
    """Return one sector; `identity` is cylinder, head, number and size code."""
    id_mark, data_mark, sector = A1 + b"\xfe", A1 + b"\xfb", f"sector {identity[2]}"
    return [
        Piece(f"{sector} ID sync", SYNC),
        Piece(f"{sector} ID mark", id_mark, marks=3),
        Piece(f"{sector} ID", identity),
        Piece(f"{sector} ID CRC", crc_bytes(id_mark + identity)),
        Piece(f"gap 2 of {sector}", GAP * 22),
        Piece(f"{sector} data sync", SYNC),
        Piece(f"{sector} data mark", data_mark, marks=3),
        Piece(f"{sector} data", contents),
        Piece(f"{sector} data CRC", crc_bytes(data_mark + contents)),
        Piece(f"gap 3 after {sector}", GAP * gap3),
    ]


def _random_data(sectors: int, size: int, seed: int, cylinder: int, head: int) -> list[bytes]:
    """Return seeded contents, different on each track."""
    contents = random_bytes(sectors * size, seed, cylinder, head)
    return [contents[n * size :][:size] for n in range(sectors)]


def _length(pieces: Sequence[Piece]) -> int:
    return sum(len(piece.data) for piece in pieces)


def _check(name: str, value: int, low: int, high: int | None = None) -> None:
    """Raise UserError unless `value` is in `low` .. `high`."""
    if value < low:
        raise UserError(f"{name}: {value} is below {low}")
    if high is not None and value > high:
        raise UserError(f"{name}: {value} is above {high}")


def _check_data(data: Sequence[bytes], sectors: int, size: int) -> None:
    """Raise UserError unless there is one content of the right size a sector."""
    if len(data) != sectors:
        raise UserError(f"data: {len(data)} contents given for {sectors} sectors")
    for n, contents in enumerate(data):
        if len(contents) != size:
            raise UserError(f"data: content {n} has {len(contents)} bytes; a sector has {size}")


def _too_long(sectors: int, size: int, gap3: int, length: int, start: int) -> str:
    """Say by how much a layout is too long, and what would fit."""
    bare = _length(_sector(bytes(4), bytes(size), 0))
    needed = start + sectors * (bare + gap3)
    widest = (length - start) // sectors - bare
    most = max(length - start, 0) // (bare + gap3)
    advice = f"gap3 {widest} or less" if widest >= 0 else f"{most} such sectors"
    return (
        f"{sectors} sectors of {size} with gap3 {gap3} need {needed} bytes, {needed - length} more"
        f" than the track's {length}; {advice} would fit"
    )
