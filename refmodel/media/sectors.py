"""One sector as it lies on a track: as the layout has it, or with something odd about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from refmodel.ground.errors import UserError
from refmodel.media.crc import crc16

SIZES = tuple(128 << code for code in range(8))  # by the size code in the ID field
ID_MARK, DATA_MARK, DELETED_MARK = 0xFE, 0xFB, 0xF8


class Piece(NamedTuple):
    """A named run of bytes; the first `marks` of them lack clocks."""

    name: str
    data: bytes
    marks: int = 0


@dataclass(frozen=True, slots=True)
class Odd:
    """What is odd about one sector; None and False leave it as it should be.

    `cylinder`, `head`, `number` and `size_code` stand in the ID in place of the true ones. `mark`
    is the byte before the data, normal or deleted. A wrong check code is the right one inverted.
    """

    cylinder: int | None = None
    head: int | None = None
    number: int | None = None
    size_code: int | None = None
    mark: int = DATA_MARK
    id_check_wrong: bool = False
    data_check_wrong: bool = False
    no_data: bool = False


PLAIN = Odd()


@dataclass(frozen=True, slots=True)
class Form:
    """How a recording writes a sector: the bytes around its fields.

    `before_mark` are bytes ahead of an address mark that belong to its check code; `marks` of these
    and the mark lack clocks.
    """

    sync: bytes
    before_mark: bytes
    marks: int
    gap: bytes
    gap2: int
    gap3: int

    def sector(self, identity: bytes, contents: bytes, odd: Odd = PLAIN) -> list[Piece]:
        """Return one sector; `identity` is cylinder, head, number and size code."""
        written = _instead(identity, odd)
        name = f"sector {written[2]}"
        head = self.before_mark + bytes([ID_MARK])
        pieces = [
            Piece(f"{name} ID sync", self.sync),
            Piece(f"{name} ID mark", head, self.marks),
            Piece(f"{name} ID", written),
            Piece(f"{name} ID CRC", _check(head + written, odd.id_check_wrong)),
            Piece(f"gap 2 of {name}", self.gap * self.gap2),
        ]
        if not odd.no_data:
            head = self.before_mark + bytes([odd.mark])
            pieces += [
                Piece(f"{name} data sync", self.sync),
                Piece(f"{name} data mark", head, self.marks),
                Piece(f"{name} data", contents),
                Piece(f"{name} data CRC", _check(head + contents, odd.data_check_wrong)),
            ]
        return [*pieces, Piece(f"gap 3 after {name}", self.gap * self.gap3)]


def order(count: int, interleave: int, skew: int) -> list[int]:
    """Return which sector, counted from 0, lies in each place behind the index.

    The next sector lies `interleave` places behind one, or in the first free place after that; the
    first lies `skew` places behind the index. Raises UserError for an interleave below 1.
    """
    if interleave < 1:
        raise UserError(f"interleave: {interleave} is below 1")
    places = [-1] * count
    at = skew % count if count else 0
    for sector in range(count):
        while places[at] >= 0:
            at = (at + 1) % count
        places[at] = sector
        at = (at + interleave) % count
    return places


def length(pieces: Sequence[Piece]) -> int:
    """Return how many bytes pieces have."""
    return sum(len(piece.data) for piece in pieces)


def _instead(identity: bytes, odd: Odd) -> bytes:
    """Return the ID with its odd bytes."""
    given = (odd.cylinder, odd.head, odd.number, odd.size_code)
    return bytes(
        true if value is None else value for true, value in zip(identity, given, strict=True)
    )


def _check(field: bytes, wrong: bool) -> bytes:
    """Return the check code of a field, high byte first; inverted when it is to be wrong."""
    return (crc16(field) ^ (0xFFFF if wrong else 0)).to_bytes(2, "big")
