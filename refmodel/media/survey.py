"""What is on a track: its fields with their check codes, and what lies in the gaps between them.

A field is a run of marks (A1 or C2 without a clock), the byte behind it and what that byte
announces. Everything is a stretch of channel bits of one revolution, taken as a ring.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from refmodel.ground.numbers import counted
from refmodel.media.crc import crc16
from refmodel.media.mfm import BITS_PER_BYTE, MARK_A1, MARK_C2, MARKS, Bits, decode, find
from refmodel.media.track import SIZES, Place

ID, DATA, DELETED, INDEX, MARKED = "ID", "data", "deleted data", "index mark", "marks"
KINDS = {(0xA1, 0xFE): ID, (0xA1, 0xFB): DATA, (0xA1, 0xF8): DELETED, (0xC2, 0xFC): INDEX}
NEAR_BYTES = 64  # a data field belongs to the ID at most so many bytes before it
RUN = 3  # equal bytes in a row that are gap content and no accident
LONGEST_GAP = 1 << 16  # channel bits of a gap that are described


@dataclass(frozen=True, slots=True)
class FieldSeen:
    """A field: channel bits `first_bit` .. `end_bit - 1`, from its first mark to its last byte.

    `marks` marks stand in a row, then the byte `mark`. `body` is what follows it without the check
    code; of a data field that no ID announces it is empty, and nothing is known of its code.
    """

    kind: str
    first_bit: int
    end_bit: int
    marks: int
    mark: int
    body: bytes = b""
    crc_stored: int | None = None
    crc_right: int | None = None
    sector: int | None = None

    @property
    def crc_ok(self) -> bool | None:
        """Whether the check code is right; None for a field without."""
        return None if self.crc_stored is None else self.crc_stored == self.crc_right

    @property
    def name(self) -> str:
        """What to call the field."""
        if self.kind == ID:
            return f"sector {self.body[2]} ID" if len(self.body) > 2 else "ID"
        if self.kind in (DATA, DELETED):
            return f"sector {self.sector} {self.kind}" if self.sector is not None else self.kind
        return (
            self.kind
            if self.kind == INDEX
            else f"{counted(self.marks, 'mark')}, byte {self.mark:02X}"
        )


@dataclass(frozen=True, slots=True)
class GapSeen:
    """What lies between two fields: channel bits `first_bit` .. `end_bit - 1`, and its content."""

    first_bit: int
    end_bit: int
    content: str

    @property
    def name(self) -> str:
        """What to call it."""
        return "gap"


Part = FieldSeen | GapSeen


def survey(bits: Bits) -> list[Part]:
    """Return the fields and gaps of one revolution, in order from the index on."""
    fields = list(_fields(bits))
    if not fields:
        return [GapSeen(0, len(bits), _content(bits, 0, len(bits)))]
    parts: list[Part] = []
    stream = np.concatenate((bits, bits))
    behind = fields[-1].end_bit - len(bits)  # the last field may run on over the index
    at = max(behind, 0)
    for field in fields:
        if field.first_bit > at:
            parts.append(GapSeen(at, field.first_bit, _content(stream, at, field.first_bit)))
        parts.append(field)
        at = field.end_bit
    if at < len(bits):
        parts.append(GapSeen(at, len(bits), _content(stream, at, len(bits), False)))
    return parts


def places_of(bits: Bits) -> tuple[Place, ...]:
    """Return the fields and gaps of one revolution as named places of a track."""
    places = [Place(part.name, part.first_bit) for part in survey(bits)]
    if places and places[0].first_bit:
        last = places[-1]
        places.insert(0, Place(f"rest of {last.name}", 0, last.unit_bits, last.unit))
    return tuple(places)


def _fields(bits: Bits) -> Iterator[FieldSeen]:
    """Yield the fields that begin in the revolution; no field begins inside another's body."""
    stream = np.concatenate((bits, bits))
    ends = sorted((end, word) for word in (MARK_A1, MARK_C2) for end in find(stream, word).tolist())
    known = set(ends)
    identity: FieldSeen | None = None
    until = -1
    for end, word in ends:
        first = end - BITS_PER_BYTE + 1
        if first >= len(bits):
            return
        if first < until:
            continue
        count = 1
        while (end + count * BITS_PER_BYTE, word) in known:
            count += 1
        if word == MARK_C2 and count < 2:
            continue  # this word occurs in data, at the odd phase
        field = _field(stream, first, count, word, identity)
        if field is None:
            continue
        until = field.end_bit if field.kind != MARKED else first + count * BITS_PER_BYTE
        identity = field if field.kind == ID else identity
        yield field


def _field(
    stream: Bits, first: int, count: int, word: int, identity: FieldSeen | None
) -> FieldSeen | None:
    """Return the field of a run of marks; None at the end of the bits."""
    value = next(byte for byte, mark in MARKS.items() if mark == word)
    at = first + count * BITS_PER_BYTE
    head = _bytes(stream, at, 1)
    if not head:
        return None
    kind = KINDS.get((value, head[0]), MARKED)
    plain = FieldSeen(kind, first, at + BITS_PER_BYTE, count, head[0])
    if kind in (INDEX, MARKED):
        return plain
    sector, length = None, 4
    if kind != ID:
        announced = identity is not None and at - identity.end_bit < NEAR_BYTES * BITS_PER_BYTE
        if not announced or identity is None:
            return plain
        sector, length = identity.body[2], SIZES[identity.body[3] & 7]
    whole = _bytes(stream, at, 1 + length + 2)
    right = crc16(bytes([value]) * count + whole[: 1 + length])
    return FieldSeen(
        kind,
        first,
        at + len(whole) * BITS_PER_BYTE,
        count,
        head[0],
        whole[1 : 1 + length],
        int.from_bytes(whole[1 + length :], "big"),
        right,
        sector,
    )


def _bytes(stream: Bits, bit: int, count: int) -> bytes:
    bits = stream[bit : bit + count * BITS_PER_BYTE]
    return decode(bits[: len(bits) // BITS_PER_BYTE * BITS_PER_BYTE])


def _content(stream: Bits, first: int, end: int, before_a_field: bool = True) -> str:
    """Say what lies in a gap: runs of bytes from its start on, and up to its end.

    The bytes from its start on are in the phase of the field before it, those up to its end in
    that of the field behind it; where a write ended the phase may change in between.
    """
    end = min(end, first + LONGEST_GAP)
    front, used = _runs(_bytes(stream, first, (end - first) // BITS_PER_BYTE))
    at = first + used * BITS_PER_BYTE
    back: list[str] = []
    stop = end
    if before_a_field:
        rest = (end - at) // BITS_PER_BYTE
        data = _bytes(stream, end - rest * BITS_PER_BYTE, rest)
        back, used = _runs(data[::-1])
        stop = end - used * BITS_PER_BYTE
    middle = [f"{counted(stop - at, 'channel bit')} of something else"] if stop > at else []
    return ", ".join([*front, *middle, *back[::-1]]) or "nothing"


def _runs(data: bytes) -> tuple[list[str], int]:
    """Return the runs of equal bytes that data begins with, and how many bytes they are."""
    said, used = [], 0
    for value, group in groupby(data):
        count = len(list(group))
        if count < RUN:
            break
        said.append(f"{count} x {value:02X}")
        used += count
    return said, used
