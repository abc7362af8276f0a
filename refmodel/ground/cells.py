"""Text full of numbers, cut into cells and read whole columns at once with numpy.

What is written in an unusual way is left to Python's own reading, one cell at a time, so both give
the same number.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Places = NDArray[np.int64]
Text = NDArray[np.uint8]
BLANK, NEWLINE, POINT, ZERO = 32, 10, 46, 48
MOST_DIGITS = 18  # that a number of 64 bits holds, whatever they are
EXACT = 1 << 53  # integers below have a float each
_HEX = np.full(256, 16, np.int64)
for _n, _letters in enumerate("0123456789abcdef"):
    _HEX[[ord(_letters), ord(_letters.upper())]] = _n


class OddCellError(ValueError):
    """A cell that is not a number: its row, and what it holds."""

    def __init__(self, row: int, shown: str) -> None:
        super().__init__(shown)
        self.row = row
        self.shown = shown[:40]


@dataclass(frozen=True)
class Column:
    """Cells under each other: where each begins and ends in a text."""

    text: Text
    begin: Places
    end: Places

    def __len__(self) -> int:
        return len(self.begin)

    @property
    def length(self) -> Places:
        """How many characters each has."""
        return self.end - self.begin

    def part(self, which: slice | Places | NDArray[np.bool_]) -> Column:
        """Return some of the cells."""
        return Column(self.text, self.begin[which], self.end[which])

    def cell(self, row: int) -> str:
        """Return one cell."""
        held = self.text[int(self.begin[row]) : int(self.end[row])]
        return held.tobytes().decode(errors="replace")

    def letter(self, place: int) -> NDArray[np.int64]:
        """Return what stands at a place of each; what lies beyond its end is of no meaning."""
        last = max(len(self.text) - 1, 0)
        return self.text[np.minimum(self.begin + place, last)].astype(np.int64)

    def begins(self, letters: str) -> NDArray[np.bool_]:
        """Tell which cells begin with one of some letters."""
        return (self.length > 0) & np.isin(self.letter(0), [ord(one) for one in letters])

    def repeats(self) -> NDArray[np.bool_]:
        """Tell which cells read like the one above them; the first does not."""
        length = self.length
        same = np.zeros(len(self), bool)
        same[1:] = length[1:] == length[:-1]
        for place in range(int(length.max(initial=0))):
            here = self.letter(place)
            same[1:] &= (here[1:] == here[:-1]) | (length[1:] <= place)
        return same

    def floats(self) -> NDArray[np.float64]:
        """Return the cells as numbers; raise OddCellError for the first that is no finite one."""
        length = self.length
        whole = np.zeros(len(self), np.int64)
        behind = np.full(len(self), -1, np.int64)  # digits behind the point; -1 before it
        plain = (length > 0) & (length <= MOST_DIGITS)
        for place in range(min(int(length.max(initial=0)), MOST_DIGITS)):
            here = (length > place) & plain
            letter = self.letter(place)
            point = here & (letter == POINT)
            digit = letter - ZERO
            plain &= ~here | ((digit >= 0) & (digit <= 9)) | (point & (behind < 0) & (length > 1))
            counts = here & ~point
            whole = np.where(counts, whole * 10 + digit, whole)
            behind += np.where(point | (counts & (behind >= 0)), 1, 0)
        plain &= whole < EXACT
        number = whole / 10.0 ** np.maximum(behind, 0)
        for row in np.flatnonzero(~plain).tolist():
            number[row] = self._one(row)
        return np.asarray(number)

    def _one(self, row: int) -> float:
        try:
            number = float(self.cell(row))
        except ValueError:
            number = np.inf
        if not np.isfinite(number):
            raise OddCellError(row, self.cell(row))
        return number

    def integers(self) -> tuple[NDArray[np.uint64], NDArray[np.bool_]]:
        """Return the cells that are plain decimal or `0x` numbers, and which of them are not."""
        length = self.length
        hexed = (length > 2) & (self.letter(0) == ZERO) & (self.letter(1) | 32 == ord("x"))
        value = np.zeros(len(self), np.uint64)
        odd = np.ones(len(self), bool)
        for rows, skip, base, most in ((hexed, 2, 16, 16), (~hexed, 0, 10, MOST_DIGITS)):
            if rows.any():
                one = self.part(rows)
                value[rows], odd[rows] = Column(one.text, one.begin + skip, one.end).digits(
                    base, most
                )
        return value, odd

    def digits(self, base: int, most: int) -> tuple[NDArray[np.uint64], NDArray[np.bool_]]:
        """Return the cells as digits of a base, at most so many, and which are none."""
        length = self.length
        odd = (length < 1) | (length > most)
        value = np.zeros(len(self), np.uint64)
        for place in range(min(int(length.max(initial=0)), most)):
            here = length > place
            digit = _HEX[self.letter(place)]
            odd |= here & (digit >= base)
            more = value * np.uint64(base) + digit.astype(np.uint64)
            value = np.where(here, more, value)
        return value, odd


@dataclass(frozen=True)
class Table:
    """The cells of a text in rows and columns; `line` has each row's line, the first is 0."""

    text: Text
    begin: Places
    end: Places
    line: Places

    def __len__(self) -> int:
        return len(self.line)

    def column(self, at: int) -> Column:
        """Return one column."""
        return Column(self.text, self.begin[:, at], self.end[:, at])


def word_places(text: Text) -> tuple[Places, Places]:
    """Return where each word of a text begins and ends: what white space lies between."""
    inside = text > BLANK
    edges = np.flatnonzero(inside[1:] != inside[:-1]) + 1
    if len(text) and inside[0]:
        edges = np.concatenate(([0], edges))
    if len(edges) % 2:
        edges = np.append(edges, len(text))
    return edges[::2], edges[1::2]


def lines_of(text: Text, places: Places) -> Places:
    """Return the line of each place, the first line being 0."""
    return np.searchsorted(np.flatnonzero(text == NEWLINE), places)


def words_of(block: bytes) -> tuple[Column, Places]:
    """Return the words of a block between blanks and commas, and the line of each.

    `#` begins a comment.
    """
    text = np.frombuffer(block.replace(b",", b" "), np.uint8)
    if b"#" in block:
        text = text.copy()
        _blank_comments(text)
    begin, end = word_places(text)
    return Column(text, begin, end), lines_of(text, begin)


def _blank_comments(text: Text) -> None:
    """Write blanks over each comment."""
    ends = np.append(np.flatnonzero(text == NEWLINE), len(text))
    marks = np.flatnonzero(text == ord("#"))
    stops = ends[np.searchsorted(ends, marks)]
    first = np.diff(stops, prepend=-1) > 0  # of the marks of a line
    step = np.zeros(len(text) + 1, np.int64)
    step[marks[first]] += 1
    step[stops[first]] -= 1
    text[np.cumsum(step[:-1]) > 0] = BLANK


def table_of(block: bytes, separator: str, columns: int) -> Table:
    """Return the cells of a block of whole lines: blanks around them and empty lines left out.

    What a row has too few is empty, what it has too many is left out.
    """
    if b'"' in block:
        block = _unquoted(block, separator)
    if not block.endswith(b"\n"):
        block += b"\n"
    text = np.frombuffer(block, np.uint8)
    mark, ends_line = _marks(text, ord(separator))
    first, last, line = _grid(mark, ends_line, columns)
    table = Table(text, *_stripped(text, first, last), line)
    held = (table.end > table.begin).any(axis=1)
    if held.all():
        return table
    return Table(text, table.begin[held], table.end[held], line[held])


def _marks(text: Text, separator: int) -> tuple[Places, NDArray[np.bool_]]:
    """Return where cells end, and which of them end a line."""
    mark = np.flatnonzero((text == separator) | (text == NEWLINE))
    return mark, text[mark] == NEWLINE


def _grid(end: Places, ends_line: NDArray[np.bool_], columns: int) -> tuple[Places, Places, Places]:
    """Return where cells begin and end, by row and column, and the line of each row."""
    begin = np.concatenate(([0], end[:-1] + 1))
    rows = int(ends_line.sum())
    if len(end) == rows * columns and ends_line[columns - 1 :: columns].all():
        return begin.reshape(rows, columns), end.reshape(rows, columns), np.arange(rows)
    line: Places = np.cumsum(ends_line) - ends_line
    starts = np.concatenate(([0], np.flatnonzero(ends_line)[:-1] + 1))
    place = np.arange(len(begin)) - starts[line]
    first = np.zeros((rows, columns), np.int64)
    last = np.zeros((rows, columns), np.int64)
    kept = place < columns
    first[line[kept], place[kept]] = begin[kept]
    last[line[kept], place[kept]] = end[kept]
    return first, last, np.arange(rows)


def _stripped(text: Text, begin: Places, end: Places) -> tuple[Places, Places]:
    """Return the cells without blanks at their ends."""
    if not ((text <= BLANK) & (text != NEWLINE)).any():
        return begin, end
    begin, end = begin.copy(), end.copy()
    _move(begin, lambda: (begin < end) & (text[begin] <= BLANK), 1)
    _move(end, lambda: (begin < end) & (text[end - 1] <= BLANK), -1)
    return begin, end


def _move(place: Places, more: Callable[[], NDArray[np.bool_]], step: int) -> None:
    """Move some places on as long as they should be."""
    moved = more()
    while moved.any():
        place += moved * step
        moved = more()


def _unquoted(block: bytes, separator: str) -> bytes:
    """Return a block with its quoted cells written plainly, blanks for what parts cells."""
    rows = csv.reader(io.StringIO(block.decode(errors="replace")), delimiter=separator)
    blanks = str.maketrans({separator: " ", "\n": " ", "\r": " "})
    return "\n".join(separator.join(c.translate(blanks) for c in row) for row in rows).encode()
