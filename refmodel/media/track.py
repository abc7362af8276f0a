"""Tracks: one revolution of channel bits as a ring, with a name for every place on it.

The ISO layout is, byte for byte, the one published in drive manuals and controller data sheets
(8-inch drive manual 1979-82, p. 36; FDC37B78x p. 62; LPC47S457 p. 56).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple, TypedDict, Unpack

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.errors import UserError
from refmodel.media.mfm import BITS_PER_BYTE, MARK_A1, MARKS, Bits, encode, word_bits
from refmodel.media.sectors import PLAIN, SIZES, Form, Odd, Piece, length, order
from refmodel.media.seeded import random_bytes

__all__ = ["SIZES", "Piece"]  # of a track's bytes, wherever a track is built

LeadIn = Literal["long"] | int
NOTHING_ODD: Mapping[int, Odd] = {}
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
            return f"{self.name}, bit {offset}"
        unit, bit = divmod(offset, self.unit_bits)
        return f"{self.name}, bit {bit} of {self.unit} {unit}"


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
        """Name the place of a channel bit, such as "sector 3 data, bit 5 of byte 17".

        The index may lie in any revolution: bit k of revolution r is r * len(track) + k.
        """
        index = bit_index % len(self.bits)
        place = self.places[bisect_right(self.places, index, key=lambda p: p.first_bit) - 1]
        return place.describe((index - place.first_bit) % len(self.bits))


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


def turned(track: Track, splice: list[int], rotate: int) -> Track:
    """Return a track with the bits of a splice at its end, and turned so far towards its end."""
    bits = np.concatenate((track.bits, np.array(splice, np.uint8)))
    places = list(track.places) + [Place("splice", len(track), 0)] * bool(splice)
    moved = [replace(p, first_bit=(p.first_bit + rotate) % len(bits)) for p in places]
    moved.sort(key=lambda p: p.first_bit)
    if moved[0].first_bit:  # the place that the index now cuts in two
        moved.insert(0, replace(moved[-1], first_bit=0, name=f"rest of {moved[-1].name}"))
    return Track(np.roll(bits, rotate % len(bits)), tuple(moved))


def words_track(words: Sequence[int] | NDArray[np.integer]) -> Track:
    """Return a track of raw 16-bit words, top bit first, MFM or not."""
    return Track(word_bits(words), (Place("raw words", 0, unit="word"),))


def random_track(bits: int, seed: int, marks: int = 0, mark: int = MARK_A1) -> Track:
    """Return a track of `bits` channel bits, each 0 or 1 alike: mostly no MFM.

    The 16-bit word `mark` is written over them `marks` times, once in each equal part of the
    track, at a random bit. Raises UserError when there are more marks than fit.
    """
    check("bits", bits, 1)
    check("marks", marks, 0, bits // BITS_PER_BYTE)
    ones = np.unpackbits(np.frombuffer(random_bytes((bits + 7) // 8, seed), np.uint8))[:bits]
    part = bits // max(marks, 1)
    offsets = np.frombuffer(random_bytes(8 * marks, seed, marks), "<u8") % max(part - 15, 1)
    for n, offset in enumerate(offsets.tolist()):
        ones[n * part + offset :][:BITS_PER_BYTE] = word_bits(mark)
    return Track(ones, (Place("random bits", 0, unit_bits=0),))


class Which(TypedDict, total=False):
    """Which sectors a track holds, and in which order, whatever the recording.

    They are numbered from `first_sector`; `numbers` gives them other numbers instead, in any order,
    also twice. `data` is the contents of each, or a seed (None is 0) for `random_bytes(..., seed,
    cylinder, head)`. `interleave` and `skew` say where they lie (see `sectors.order`). `odd` has
    what is odd about the sector in a place, counted from 1 behind the index.
    """

    cylinder: int
    head: int
    data: Sequence[bytes] | int | None
    first_sector: int
    numbers: Sequence[int] | None
    interleave: int
    skew: int
    odd: Mapping[int, Odd]


class Layout(Which, total=False):
    """What `iso_track` takes by name."""

    gap3: int
    gap2: int
    sync: int
    lead_in: LeadIn
    length_bytes: int


def iso_track(
    sectors: int = 9,
    size: int = 512,
    gap3: int = 84,
    gap2: int = 22,
    sync: int = 12,
    lead_in: LeadIn = "long",
    length_bytes: int = 6250,
    **which: Unpack[Which],
) -> Track:
    """Return an ISO-layout MFM track of `length_bytes`; see `Which` for its sectors.

    `lead_in` is "long" (146 bytes with the index mark) or a number of gap bytes. `sync` are the
    zeros before each field, `gap2` what stands between ID and data. `gap3` is all that stands
    between a sector's CRC and the next sector's sync, the byte in which the write gate goes off
    included; what is left after the last one is the track gap.
    Raises UserError when a value is out of range or the layout does not fit.
    """
    check("gap3", gap3, 0)
    check("length_bytes", length_bytes, 1)
    form = Form(bytes(sync), A1, 3, GAP, gap2, gap3)
    body = sector_body(form, sectors=sectors, size=size, **which)
    return filled(_lead_in(lead_in), body, length_bytes, Layouted(form, sectors, size), join)


def sector_body(
    form: Form,
    sectors: int,
    size: int,
    cylinder: int = 0,
    head: int = 0,
    data: Sequence[bytes] | int | None = None,
    first_sector: int = 1,
    numbers: Sequence[int] | None = None,
    interleave: int = 1,
    skew: int = 0,
    odd: Mapping[int, Odd] = NOTHING_ODD,
) -> list[Piece]:
    """Return the sectors of a track in the order they pass the head; see `Which`.

    Raises UserError when a value is out of range.
    """
    check("sectors", sectors, 1, 256)
    check("cylinder", cylinder, 0, 255)
    check("head", head, 0, 255)
    check("first_sector", first_sector, 0, 256 - sectors)
    if size not in SIZES:
        raise UserError(f"size: {size} is not a sector size; known: {', '.join(map(str, SIZES))}")
    if data is None or isinstance(data, int):
        data = random_data(sectors, size, data or 0, cylinder, head)
    _check_data(data, sectors, size)
    if numbers is None:
        numbers = range(first_sector, first_sector + sectors)
    check("numbers", len(numbers), sectors, sectors)
    return [
        piece
        for place, n in enumerate(order(sectors, interleave, skew), 1)
        for piece in form.sector(
            bytes((cylinder, head, numbers[n], SIZES.index(size))), data[n], odd.get(place, PLAIN)
        )
    ]


def image_track(image: bytes, sectors: int = 9, size: int = 512, **layout: Unpack[Layout]) -> Track:
    """Return the ISO-layout track whose sectors hold `image`, cut up in order.

    Raises UserError when the image is not `sectors * size` bytes, and as `iso_track` does.
    """
    if len(image) != sectors * size:
        raise UserError(
            f"the image of a track has {len(image)} bytes;"
            f" {sectors} sectors of {size} are {sectors * size}; check sectors and size"
        )
    data = [image[first : first + size] for first in range(0, len(image), max(size, 1))]
    layout["data"] = data
    return iso_track(sectors, size, **layout)


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
    check("lead_in", form, 0)
    return [Piece("index gap", GAP * form)]


def random_data(sectors: int, size: int, seed: int, cylinder: int, head: int) -> list[bytes]:
    """Return seeded contents, different on each track."""
    contents = random_bytes(sectors * size, seed, cylinder, head)
    return [contents[n * size :][:size] for n in range(sectors)]


def check(name: str, value: int, low: int, high: int | None = None) -> None:
    """Raise UserError unless `value` is in `low` .. `high`."""
    if value < low:
        raise UserError(f"{name}: {value} should be at least {low}")
    if high is not None and value > high:
        raise UserError(f"{name}: {value} should be at most {high}")


def _check_data(data: Sequence[bytes], sectors: int, size: int) -> None:
    """Raise UserError unless there is one content of the right size a sector."""
    if len(data) != sectors:
        raise UserError(f"data: {len(data)} contents given for {sectors} sectors")
    for n, contents in enumerate(data):
        if len(contents) != size:
            raise UserError(f"data: content {n} has {len(contents)} bytes; a sector has {size}")


class Layouted(NamedTuple):
    """What a layout is made of, to say by how much it is too long."""

    form: Form
    sectors: int
    size: int

    def too_long(self, length_bytes: int, start: int, needed: int) -> str:
        """Say by how much it is too long behind `start` bytes of lead-in, and what would fit."""
        bare = length(self.form.sector(bytes(4), bytes(self.size))) - self.form.gap3
        widest = (length_bytes - start) // self.sectors - bare
        most = max(length_bytes - start, 0) // (bare + self.form.gap3)
        advice = f"gap3 {widest} or less" if widest >= 0 else f"{most} such sectors"
        return (
            f"{self.sectors} sectors of {self.size} with gap3 {self.form.gap3} need {needed} bytes,"
            f" {needed - length_bytes} more than the track's {length_bytes}; {advice} would fit"
        )


def filled(
    start: list[Piece],
    body: list[Piece],
    length_bytes: int,
    layouted: Layouted,
    joined: Callable[[Sequence[Piece]], Track],
) -> Track:
    """Return lead-in, sectors and the track gap that is left; UserError when nothing is."""
    needed = length(start) + length(body)
    if needed > length_bytes:
        raise UserError(layouted.too_long(length_bytes, length(start), needed))
    rest = layouted.form.gap * (length_bytes - needed)
    return joined([*start, *body, Piece("track gap", rest)])
