"""The FIFO between the disk and memory: clauses B10 and B11."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple


class Fifo(NamedTuple):
    """`used` words wait, the oldest first; the places behind them hold 0."""

    used: int
    words: tuple[int, ...]

    @classmethod
    def empty(cls, size: int) -> Fifo:
        """Return an empty FIFO of `size` places."""
        return cls(0, (0,) * size)

    @classmethod
    def of(cls, words: Sequence[int], size: int) -> Fifo:
        """Return a FIFO of `size` places in which these words wait."""
        return cls(len(words), (*words, *(0,) * (size - len(words))))

    @property
    def waiting(self) -> tuple[int, ...]:
        """The words that wait, the oldest first."""
        return self.words[: self.used]

    @property
    def full(self) -> int:
        """1 if no place is free, else 0."""
        return 1 if self.used == len(self.words) else 0

    def push(self, word: int) -> Fifo:
        """Return the FIFO, which must not be full, with one word more."""
        words = tuple(word if self.used == place else old for place, old in enumerate(self.words))
        return Fifo(self.used + 1, words)

    def pop(self) -> Fifo:
        """Return the FIFO, which must not be empty, without its oldest word."""
        return Fifo(self.used - 1, (*self.words[1:], 0))
