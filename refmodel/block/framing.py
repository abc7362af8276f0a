"""Window, comparator and byte framing: clauses B2, B3, B4 and B13."""

from __future__ import annotations

from dataclasses import dataclass

from refmodel.block.rules import Rules
from refmodel.ground.word import WORD


@dataclass(slots=True)
class Framed:
    """Window and byte counter after an edge, and what its channel bit has done, as 0 or 1.

    `match`: the bit made the window equal the sync word. `restart`: and realignment is on.
    """

    window: int = 0
    bit_count: int = 0
    data: int = 0
    byte_done: int = 0
    match: int = 0
    restart: int = 0


def shift_in(
    rules: Rules, before: Framed, bit: int, sync_word: int, realign: int, top_bit_framing: int
) -> Framed:
    """Shift one channel bit into the window and count it."""
    window = (before.window << 1 | bit) & WORD  # B2
    match = 1 if window == sync_word else 0
    restart = match & realign
    if top_bit_framing and before.bit_count == 0 and bit == 0:  # B13: a byte starts with a 1
        return Framed(window, 0, before.data, 0, match, restart)
    bit_count = (before.bit_count + 1) & 7  # B4: each eighth bit completes a byte
    byte_done = 1 if bit_count == 0 else 0
    if restart and rules.matching_byte == "dropped":
        byte_done = 0
    data = window & 0xFF if byte_done else before.data
    if restart:  # B4: the next byte starts with the next bit
        bit_count = 0
    return Framed(window, bit_count, data, byte_done, match, restart)


def realigns(rules: Rules, waits: int) -> int:
    """Return 1 while a match restarts the count (B4, policy realign)."""
    if rules.realign == "always":
        return 1
    return waits if rules.realign == "when_waiting" else 0


def met(rules: Rules, before: int, written: int) -> int:
    """Return the word that a bit meets on the edge of its write (B3, policy same_edge_write)."""
    return before if rules.same_edge_write == "old" else written


def compared(rules: Rules, equal: int, at_bit: int) -> int:
    """Return the comparator's level: as the words are, or as the last bit left it (B3)."""
    return at_bit if rules.sync_compare == "at_bits" else equal
