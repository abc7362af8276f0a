"""A host program that takes stock of a track's sectors: twice there, missing, over the index."""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

from refmodel.host.program import Access, Program, Read
from refmodel.host.programs import DATA, ID, TWO_MARKS
from refmodel.media.crc import crc16
from refmodel.media.mfm import decode, word_bits
from refmodel.media.track import A1


class _Turn:
    """Counts index pulses while bytes are read."""

    def __init__(self, cost: int) -> None:
        self.cost = cost
        self.up = 0  # a run may begin at the index
        self.passed = 0

    def byte(self) -> Generator[Access, Any, int]:
        """Poll for the next byte of eight channel bits, looking at the index in between."""
        status = yield Read("status", self.cost)
        while not status.byte_ready:
            index = (yield Read("drive", self.cost)).index
            self.passed += index and not self.up
            self.up = index
            status = yield Read("status", self.cost)
        return int(status.data)


def sector_headers(
    size: int = 128, twice: int = 2, missing: int = 3, spliced: int = 4, cost: int = 16
) -> Program:
    """Read a revolution of headers, and the data of sector `spliced`, which lies over the index.

    Returns how often the headers of `twice` and `missing` came, and whether the data was right.
    Needs realignment.
    """
    turn = _Turn(cost)
    while not turn.passed:
        yield from turn.byte()
    numbers: list[int] = []
    right = 0
    last = 0
    while turn.passed < 2:
        field = yield from _field(turn, {ID: 6, DATA: size + 2 if last == spliced else 0})
        good = len(field) > 4 and crc16(field) == 0
        if field[3:4] == bytes([ID]) and good:
            last = field[6]
            numbers.append(last)
        elif field[3:4] == bytes([DATA]):
            right += good
            last = 0
    return {
        "twice": numbers.count(twice),
        "missing": numbers.count(missing),
        "spliced_right": right,
        "headers": len(numbers),
    }


def _field(turn: _Turn, lengths: dict[int, int]) -> Generator[Access, Any, bytes]:
    """Return the next field: three A1, its address byte, and as many bytes more as that has."""
    raw = b""
    while raw != TWO_MARKS:
        if turn.passed > 1:
            return b""
        raw = raw[-3:] + bytes([(yield from turn.byte())])
    mark = yield from _word(turn)
    while mark == 0xA1:
        mark = yield from _word(turn)
    found = bytearray(A1) + bytes([mark])
    for _ in range(lengths.get(mark, 0)):
        found.append((yield from _word(turn)))
    return bytes(found)


def _word(turn: _Turn) -> Generator[Access, Any, int]:
    """Return the byte that the next sixteen channel bits decode to."""
    high = yield from turn.byte()
    low = yield from turn.byte()
    return decode(word_bits(high << 8 | low))[0]
