"""MFM: data bits to channel bits and back, and the marks whose missing clock breaks the rule.

A transition stands at the centre of each cell that holds a one (from memory, ISO 8860-2 4.1 a)
and at the boundary between two cells that hold zeros (ISO 8860-2 4.1 b), so the data bit before
decides a clock bit.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.errors import UserError

Bits = NDArray[np.uint8]  # one channel bit, 0 or 1, an element, in the order they pass the head

MARK_A1 = 0x4489  # byte A1 with clock bits 0A in place of 0E
MARK_C2 = 0x5224  # byte C2 with clock bits 14 in place of 1C
MARKS = {0xA1: MARK_A1, 0xC2: MARK_C2}
BITS_PER_BYTE = 16  # channel bits: a clock bit, then a data bit, eight times


def encode(data: bytes | NDArray[np.uint8], previous: int = 0) -> Bits:
    """Return the 16 channel bits of each byte, top bit first, each clock bit before its data bit.

    `previous` is the last data bit before `data`.
    """
    ones = np.unpackbits(np.frombuffer(data, np.uint8))
    bits = np.empty(2 * len(ones), np.uint8)
    bits[1::2] = ones
    bits[2::2] = 1 ^ (ones[:-1] | ones[1:])
    bits[:1] = 1 ^ (previous | ones[:1])
    return bits


def decode(bits: Bits) -> bytes:
    """Return the data of channel bits that begin with the clock bit of a byte's top bit.

    Clock bits are not looked at, so marks read as A1 and C2. Raises UserError unless the bits are
    whole bytes.
    """
    if len(bits) % BITS_PER_BYTE:
        raise UserError(f"{len(bits)} channel bits are not whole bytes; a byte has {BITS_PER_BYTE}")
    return np.packbits(bits[1::2]).tobytes()


def word_bits(words: int | Sequence[int] | NDArray[np.integer]) -> Bits:
    """Return the channel bits of one or more 16-bit words, top bit first.

    Raises UserError for a word outside 0 .. 0xFFFF.
    """
    values = np.atleast_1d(np.asarray(words, np.int64))
    wrong = values[(values < 0) | (values > 0xFFFF)]
    if len(wrong):
        raise UserError(f"word {wrong[0]:#x} is not in 0 .. 0xffff")
    return np.unpackbits(values.astype(">u2").view(np.uint8))


def bits_to_words(bits: Bits) -> NDArray[np.uint16]:
    """Return the channel bits as 16-bit words, top bit first; zeros fill up the last word."""
    packed = np.packbits(bits)
    return np.pad(packed, (0, len(packed) % 2)).view(">u2").astype(np.uint16)


def find(bits: Bits, word: int) -> NDArray[np.int64]:
    """Return, at any phase, the index of each bit that completes the 16-bit `word`."""
    pattern = word_bits(word)
    starts = max(len(bits) - len(pattern) + 1, 0)
    equal = np.ones(starts, bool)
    for n, bit in enumerate(pattern):
        equal &= bits[n : n + starts] == bit
    return np.flatnonzero(equal).astype(np.int64) + len(pattern) - 1
