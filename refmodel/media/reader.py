"""A reader of ISO-layout tracks: finds the marks, decodes ID and data fields, checks their CRC.

It shares nothing with the builder in `track` but the decoder and the check code.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import zip_longest
from typing import NamedTuple

import numpy as np

from refmodel.media.crc import crc16
from refmodel.media.mfm import BITS_PER_BYTE, MARK_A1, Bits, decode, find

ID_MARK = 0xFE
DATA_MARKS = (0xFB, 0xF8)
MARKS_IN_A_ROW = 3
_AFTER_MARKS = crc16(b"\xa1" * MARKS_IN_A_ROW)


@dataclass(frozen=True, slots=True)
class Sector:
    """A sector as read. `first_bit` is the first channel bit of its ID field's first mark.

    Without a data field after the ID `data` is empty; a field cut off by the end of the bits is
    short; neither has its CRC right.
    """

    cylinder: int
    head: int
    number: int
    size: int
    data: bytes
    id_crc_ok: bool
    data_crc_ok: bool
    first_bit: int


class _Field(NamedTuple):
    """A field: its byte after the three marks, and where that byte begins."""

    mark: int
    bit: int


def read_sectors(bits: Bits, ring: bool = False) -> list[Sector]:
    """Return the sectors in the order of their ID fields, at any bit phase.

    A data field belongs to the ID field right before it. With `ring` the bits are one revolution
    and a sector may run on over its end.
    """
    stream = np.concatenate((bits, bits)) if ring else bits
    fields = _fields(stream)
    sectors = [
        _sector(stream, field, following)
        for field, following in zip_longest(fields, fields[1:])
        if field.mark == ID_MARK and len(_bytes_at(stream, field.bit, 7)) == 7
    ]
    return [sector for sector in sectors if sector.first_bit < len(bits)]


def _fields(stream: Bits) -> list[_Field]:
    """Return every field that begins with three marks in a row and one more byte."""
    ends = find(stream, MARK_A1)
    for _ in range(1, MARKS_IN_A_ROW):
        ends = ends[np.isin(ends - BITS_PER_BYTE, ends)]
    heads = [(bit, _bytes_at(stream, bit, 1)) for bit in (ends + 1).tolist()]
    return [_Field(mark[0], bit) for bit, mark in heads if mark]


def _sector(stream: Bits, identity: _Field, following: _Field | None) -> Sector:
    """Return the sector of an ID field and the field after it."""
    id_field = _bytes_at(stream, identity.bit, 7)  # mark, C, H, S, N, CRC
    size = 128 << (id_field[4] & 7)  # common practice, no source: only three bits count
    data_field = b""
    if following and following.mark in DATA_MARKS:
        data_field = _bytes_at(stream, following.bit, 1 + size + 2)
    return Sector(
        cylinder=id_field[1],
        head=id_field[2],
        number=id_field[3],
        size=size,
        data=data_field[1 : 1 + size],
        id_crc_ok=_crc_ok(id_field, 7),
        data_crc_ok=_crc_ok(data_field, 1 + size + 2),
        first_bit=identity.bit - MARKS_IN_A_ROW * BITS_PER_BYTE,
    )


def _bytes_at(stream: Bits, bit: int, count: int) -> bytes:
    """Return `count` bytes from channel bit `bit` on, fewer at the end of the stream."""
    bits = stream[bit : bit + count * BITS_PER_BYTE]
    return decode(bits[: len(bits) // BITS_PER_BYTE * BITS_PER_BYTE])


def _crc_ok(field: bytes, length: int) -> bool:
    """Tell whether a field, from the byte after its marks to its CRC, is whole and right."""
    return len(field) == length and crc16(field, _AFTER_MARKS) == 0
