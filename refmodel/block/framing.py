"""Window, comparator and byte framing: clauses B2, B3 and B4."""

from __future__ import annotations

from typing import NamedTuple

from refmodel.ground.word import WORD


class Framed(NamedTuple):
    """What one channel bit leaves behind."""

    window: int
    bit_count: int
    data: int
    byte_done: bool


def shift_in(
    bit: int,
    window: int,
    sync_word: int,
    bit_count: int,
    data: int,
    realign: int,
    top_bit_framing: int = 0,
) -> Framed:
    """Shift one channel bit into the window and count it; `sync_word` is the one now in force."""
    window = (window << 1 | bit) & WORD  # B2
    if top_bit_framing and bit_count == 0 and not bit:  # B13: a byte starts with a 1
        return Framed(window, bit_count, data, byte_done=False)
    bit_count = (bit_count + 1) & 7  # B4: each eighth bit completes a byte
    byte_done = bit_count == 0
    if byte_done:
        data = window & 0xFF
    if realign and window == sync_word:  # B4: the next byte starts with the next bit
        bit_count = 0
    return Framed(window, bit_count, data, byte_done)
