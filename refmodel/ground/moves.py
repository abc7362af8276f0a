"""What transfers moved between the FIFO and memory, and where."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.errors import UserError
from refmodel.ground.lane import Cycles


@dataclass(frozen=True)
class Moves:
    """Words moved, in order: word `word[i]` at edge `cycle[i]`, at place `place[i]` of memory.

    `store[i]` is 1 for a word stored in memory, 0 for one fetched from it.
    """

    cycle: Cycles = field(default_factory=lambda: np.empty(0, np.int64))
    place: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    word: NDArray[np.uint16] = field(default_factory=lambda: np.empty(0, np.uint16))
    store: NDArray[np.uint8] = field(default_factory=lambda: np.empty(0, np.uint8))

    def __len__(self) -> int:
        return len(self.cycle)

    @classmethod
    def joined(cls, parts: list[Moves]) -> Moves:
        """Return the moves of consecutive spans together."""
        return cls(
            np.concatenate([p.cycle for p in parts]),
            np.concatenate([p.place for p in parts]),
            np.concatenate([p.word for p in parts]),
            np.concatenate([p.store for p in parts]),
        )


def word_at(memory: NDArray[np.uint16], place: int) -> int:
    """Return the word a slot would fetch; 0 behind the end, where `check_place` refuses it."""
    return int(memory[place]) if place < len(memory) else 0


def check_place(memory: NDArray[np.uint16], place: int, cycle: int) -> None:
    """Raise UserError if the word moved in `cycle` lies behind the end of memory."""
    if place >= len(memory):
        raise UserError(
            f"cycle {cycle}: the transfer runs past the memory: it moves word {place},"
            f" and the memory ends after {len(memory)} words; give the scenario a larger memory,"
            " or transfer fewer words"
        )
