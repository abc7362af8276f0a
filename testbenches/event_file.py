"""The file of a run's events, in the form the harness reads with `$fread`: binary, big-endian.

It begins with the cycles of the run and the cycle in which its first window ends, 32 bits each.
Then each event has its cycle, 32 bits, and its drive word in as few bytes as hold it. As text,
reading the events took Verilator a fifth of a run.
"""

from __future__ import annotations

from pathlib import Path
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.lane import Cycles

Words: TypeAlias = NDArray[np.uint64]
HEAD = 8  # bytes
CYCLE = 4  # bytes


def word_bytes(width: int) -> int:
    """Return how many bytes a drive word of `width` bits takes in the file."""
    return (width + 7) // 8


def head(cycles: int, window_end: int) -> bytes:
    """Return the beginning of a file."""
    return np.array([cycles, window_end], ">u4").tobytes()


def encoded(edges: Cycles, words: Words, width: int) -> bytes:
    """Return the events of these cycles, their drive words `width` bits wide."""
    cycle = edges.astype(">u4").view(np.uint8).reshape(-1, CYCLE)
    word = words.astype(">u8").view(np.uint8).reshape(-1, 8)
    return np.hstack((cycle, word[:, 8 - word_bytes(width) :])).tobytes()


def read_events(path: Path, width: int) -> tuple[Cycles, Words]:
    """Return the cycles and drive words of a file's events."""
    size = word_bytes(width)
    rows = np.fromfile(path, np.uint8, offset=HEAD).reshape(-1, CYCLE + size)
    word = np.zeros((len(rows), 8), np.uint8)
    word[:, 8 - size :] = rows[:, CYCLE:]
    cycle = rows[:, :CYCLE].copy().view(">u4").astype(np.int64).ravel()
    return cycle, word.view(">u8").astype(np.uint64).ravel()
