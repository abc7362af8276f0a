"""The read side of a transfer: channel bits into words, from a match on: clause B10."""

from __future__ import annotations

from typing import NamedTuple


class Collector(NamedTuple):
    """`waiting` for a match, or `bits` channel bits of the next word collected so far."""

    waiting: int = 0
    bits: int = 0


def collect(before: Collector, match: int, realign: int) -> tuple[Collector, bool]:
    """Return the collector after a channel bit, and whether the bit completes a word.

    The word that matches is not stored when it ends the waiting. Later a match restarts the
    count, if realignment is on, behind a word that completes on the same bit.
    """
    if before.waiting:
        return Collector(waiting=0 if match else 1), False
    bits = (before.bits + 1) & 15
    done = bits == 0
    if match and realign:
        bits = 0
    return Collector(bits=bits), done
