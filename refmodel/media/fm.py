"""FM: a clock bit before each data bit, always 1 but in the marks; and the 8-inch layout in it.

A mark is a byte some of whose clocks are missing, C7 in place of FF (D7 in the index mark), and its
check code begins with the mark itself. The layout is that of 8-inch disks with 26 sectors of 128
bytes: gaps of FF, preambles of 6 zeros (from memory, common practice; ISO 5654-2 has it).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Unpack

import numpy as np
from numpy.typing import NDArray

from refmodel.media.mfm import BITS_PER_BYTE, Bits, word_bits
from refmodel.media.sectors import Form, Piece
from refmodel.media.track import Layouted, Place, Track, Which, check, filled, sector_body

GAP = b"\xff"
SYNC = bytes(6)
CLOCKS = {0xFC: 0xD7}  # of the index mark
MARK_CLOCKS = 0xC7  # of the other marks
INDEX_MARK = 0xFC


def encode(data: bytes | NDArray[np.uint8]) -> Bits:
    """Return the 16 channel bits of each byte, top bit first, a clock bit before each data bit."""
    ones = np.unpackbits(np.frombuffer(data, np.uint8))
    bits = np.ones(2 * len(ones), np.uint8)
    bits[1::2] = ones
    return bits


def mark_word(byte: int) -> int:
    """Return the channel bits of a mark as a word: its clocks and data bits in turn."""
    clocks = CLOCKS.get(byte, MARK_CLOCKS)
    word = 0
    for bit in range(7, -1, -1):
        word = word << 2 | (clocks >> bit & 1) << 1 | byte >> bit & 1
    return word


def join_fm(pieces: Sequence[Piece]) -> Track:
    """Return the pieces, in order, as a ring of FM."""
    bits = encode(b"".join(piece.data for piece in pieces))
    words = bits.reshape(-1, BITS_PER_BYTE)
    places, first = [], 0
    for piece in pieces:
        if piece.data:
            places.append(Place(piece.name, first * BITS_PER_BYTE))
        for n in range(piece.marks):
            words[first + n] = word_bits(mark_word(piece.data[n]))
        first += len(piece.data)
    return Track(bits, tuple(places))


def fm_track(
    sectors: int = 26,
    size: int = 128,
    gap3: int = 27,
    gap2: int = 11,
    sync: int = 6,
    lead_in: int = 40,
    gap1: int = 26,
    length_bytes: int = 5208,
    **which: Unpack[Which],
) -> Track:
    """Return an FM track of `length_bytes`; see `track.Which` for its sectors.

    `lead_in` gap bytes, the index mark and `gap1` bytes stand before the first sector. 5 208 bytes
    of 32 us are a revolution at 360 turns a minute.
    Raises UserError when a value is out of range or the layout does not fit.
    """
    for name, value in (("gap3", gap3), ("gap2", gap2), ("lead_in", lead_in), ("gap1", gap1)):
        check(name, value, 0)
    check("length_bytes", length_bytes, 1)
    form = Form(bytes(sync), b"", 1, GAP, gap2, gap3)
    body = sector_body(form, sectors=sectors, size=size, **which)
    start = [
        Piece("index gap", GAP * lead_in),
        Piece("index sync", bytes(sync)),
        Piece("index mark", bytes([INDEX_MARK]), 1),
        Piece("gap 1", GAP * gap1),
    ]
    return filled(start, body, length_bytes, Layouted(form, sectors, size), join_fm)
