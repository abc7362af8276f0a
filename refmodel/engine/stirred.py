"""What a run's stimulus stirs: which inputs move, and which registers the host accesses."""

from __future__ import annotations

from collections import Counter

import numpy as np

from refmodel.ground.bus import WRITTEN
from refmodel.ground.moves import Moves
from refmodel.ground.stimulus import Stimulus
from refmodel.host.lacking import FROM_MEMORY, TO_MEMORY


def input_name(level: str) -> str:
    """Return what a level input is called beside a field of the same name."""
    return f"input {level}"


def register_name(register: str) -> str:
    """Return what a written register is called beside a field of the same name."""
    return f"register {register}"


def words_name(way: str) -> str:
    """Return what the words of transfers that go one way are called."""
    return f"words {way}"


class Stirred:
    """Counts what moves, span after span: level inputs, registers written, words each way."""

    def __init__(self) -> None:
        self.counts: Counter[str] = Counter()
        self._last: dict[str, int] = {}

    def add(self, stimulus: Stimulus) -> None:
        """Count what one span holds."""
        for level, lane in stimulus.levels.items():
            inside = lane.between(stimulus.first, stimulus.end)
            if not len(inside.value):
                continue
            moved = len(inside.value) - 1
            moved += self._last.get(level, int(inside.value[0])) != int(inside.value[0])
            self._last[level] = int(inside.value[-1])
            self.counts[input_name(level)] += moved
        for kind, register in WRITTEN.items():
            made = int(np.count_nonzero(stimulus.access_kind == kind))
            self.counts[register_name(register)] += made

    def moved(self, moves: Moves) -> None:
        """Count the words that are to be moved in a span."""
        stored = int(np.count_nonzero(moves.store))
        self.counts[words_name(TO_MEMORY)] += stored
        self.counts[words_name(FROM_MEMORY)] += len(moves) - stored
