"""What the events of a span come to inside the block: bytes, matches, words, and the transfer."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from refmodel.block.transfer import Transfer
from refmodel.ground.lane import Cycles, Lane, both
from refmodel.ground.word import WORD_BITS

DOING = (
    "idle",
    "armed",
    "waiting for a match",
    "reading",
    "write started",
    "writing",
    "stopped by a gate",
)
IDLE, ARMED, WAITING, READING, STARTED, WRITING, STOPPED = range(len(DOING))


def _none() -> Cycles:
    return np.empty(0, np.int64)


@dataclass(frozen=True)
class Happened:
    """The edges on which a byte or a word ends or a bit matches, and what the transfer does.

    `doing` has one of `DOING` for each cycle, `before` for the cycle before the span. An end or a
    match that a reset or the closing of a gate keeps from happening on its edge counts as well.
    """

    byte: Cycles = field(default_factory=_none)
    match: Cycles = field(default_factory=_none)
    word: Cycles = field(default_factory=_none)
    doing: Lane = field(default_factory=lambda: Lane.constant(IDLE))
    before: int = IDLE

    @classmethod
    def joined(cls, parts: list[Happened]) -> Happened:
        """Put consecutive spans together."""
        return cls(
            np.concatenate([part.byte for part in parts]),
            np.concatenate([part.match for part in parts]),
            np.concatenate([part.word for part in parts]),
            Lane.of(
                np.concatenate([part.doing.cycle for part in parts]),
                np.concatenate([part.doing.value for part in parts]),
            ),
            parts[0].before,
        )


def doing_of(transfer: Transfer) -> int:
    """Return what a transfer does, its gates left out of it."""
    if transfer.writer.active:
        return WRITING
    if transfer.running and transfer.write:
        return STARTED
    if transfer.running:
        return WAITING if transfer.collector.waiting else READING
    return ARMED if transfer.armed else IDLE


def at_last_bit(transfer: Transfer) -> bool:
    """Return whether a channel bit is the last of a word, if no gate closes on its edge."""
    collector = transfer.collector
    collects = transfer.running and not transfer.write and not collector.waiting
    return bool(collects and collector.bits == WORD_BITS - 1)


def behind_gates(doing: Lane, gates: Lane) -> Lane:
    """Return what a transfer does that stands still where the gates are off; both begin alike."""
    if len(gates.cycle) == 1 and gates.value[0]:
        return doing
    moves = np.isin(doing.value, (WAITING, READING, STARTED))
    running = Lane.of(doing.cycle, moves.astype(np.uint32))
    off = both(running, Lane(gates.cycle, 1 - gates.value))
    cycle = np.union1d(doing.cycle, off.cycle)
    return Lane.of(cycle, np.where(off.at(cycle), STOPPED, doing.at(cycle)))
