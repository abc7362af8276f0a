"""The read side of a transfer: channel bits into words, from a match on: clause B10."""

from __future__ import annotations

from typing import NamedTuple


class Collector(NamedTuple):
    """`waiting` for a match, or `bits` channel bits of the next word collected so far."""

    waiting: int = 0
    bits: int = 0


def collect(before: Collector, match: int, restart: int) -> tuple[Collector, int]:
    """Return the collector after a channel bit, and 1 if the bit completes a word, else 0.

    The word that matches is not stored when it ends the waiting. A later match with realignment
    on restarts the count, behind a word that completes on the same bit.
    """
    if before.waiting:
        return Collector(waiting=1 - match), 0
    bits = (before.bits + 1) & 15
    done = 1 if bits == 0 else 0
    if restart:
        bits = 0
    return Collector(bits=bits), done
