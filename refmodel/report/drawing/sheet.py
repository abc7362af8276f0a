"""What a drawing shows, as data: lanes over a stretch of cycles, a flag, a cursor."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from refmodel.ground.lane import Lane


class Piece(NamedTuple):
    """A stretch of a lane from cycle `start` to `end`, and its text.

    `kind` is on or off of a flag, box or lit of a value, mark of what happens in one cycle.
    """

    start: float
    end: float
    kind: str
    text: str = ""


@dataclass(frozen=True)
class Drawn:
    """One lane: what the model shows, what the core shows if it is compared, where they differ."""

    name: str
    pieces: tuple[Piece, ...]
    core: tuple[Piece, ...] | None = None
    wrong: tuple[tuple[float, float], ...] = ()


class Flag(NamedTuple):
    """A stretch of cycles that is banded from top to bottom, with a text over it."""

    start: float
    end: float
    text: str
    wrong: bool = True  # a mismatch; else a moment to look at


@dataclass(frozen=True)
class Sheet:
    """A whole drawing of cycles `first` .. `end`; `label` says what it shows in words.

    With `cycle_ns` the scale has times beside the cycles; `at` is the cycle of the cursor.
    """

    first: float
    end: float
    lanes: tuple[Drawn, ...]
    label: str
    cycle_ns: float | None = None
    flag: Flag | None = None
    at: int | None = None


def flag_pieces(lane: Lane, first: int, end: int) -> tuple[Piece, ...]:
    """Return a flag's stretches in cycles `first` .. `end - 1`."""
    return tuple(
        Piece(start, stop, "on" if value else "off")
        for start, stop, value in _runs(lane, first, end)
    )


def value_pieces(
    lane: Lane, first: int, end: int, digits: int, lit: int | None = None
) -> tuple[Piece, ...]:
    """Return the stretches of a value in hexadecimal; `lit` is the value that stands out."""
    return tuple(
        Piece(start, stop, "lit" if value == lit else "box", f"{value:0{digits}X}")
        for start, stop, value in _runs(lane, first, end)
    )


def stretches(lane: Lane, first: int, end: int) -> tuple[tuple[float, float], ...]:
    """Return where a lane is not 0."""
    return tuple((start, stop) for start, stop, value in _runs(lane, first, end) if value)


def _runs(lane: Lane, first: int, end: int) -> Iterator[tuple[int, int, int]]:
    """Yield start, end and value of each stretch of a lane."""
    at = max(first, int(lane.cycle[0]))
    part = lane.between(at, end)
    edges = np.append(part.cycle, end).tolist()
    yield from zip(edges[:-1], edges[1:], part.value.tolist(), strict=True)
