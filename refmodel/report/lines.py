"""Tables and labelled facts in as many columns as a terminal has."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import IO

from rich.console import Console
from rich.text import Text

from refmodel.ground.text import printable

Row = Sequence[str | Text]
GAP = 2  # columns between cells
INDENT = 7  # of the cells that go to a line of their own


def room_of(console: Console) -> int | None:
    """Return the columns of a terminal; None for a file or pipe, where a line is never folded."""
    return console.width if console.is_terminal else None


def room_of_stream(file: IO[str]) -> int | None:
    """Return the columns of a terminal that is written to as a file; None for any other file."""
    return room_of(Console(file=file)) if file.isatty() else None


def show_line(console: Console, line: str | Text) -> None:
    """Print a line as it is: not folded again, nothing in it taken for markup."""
    if isinstance(line, str):
        line = printable(line)
    console.print(line, soft_wrap=True, markup=False, highlight=False)


def table_lines(rows: Sequence[Row], fold: int, room: int | None) -> Iterator[Text]:
    """Yield the lines of a table; the first row is its head, and bold.

    Where a row is wider than `room`, the cells from number `fold` on take a second line each row.
    """
    widths = [max(len(row[n]) for row in rows) for n in range(len(rows[0]))]
    wide = sum(widths) + GAP * (len(widths) - 1)
    for number, row in enumerate(rows):
        parts = [(0, 0, len(row))]
        if room is not None and wide > room:
            parts = [(0, 0, fold), (INDENT, fold, len(row))]
        for indent, start, end in parts:
            line = _joined(row[start:end], widths[start:end], indent)
            if number == 0:
                line.stylize("bold")
            yield line


def _joined(cells: Row, widths: Sequence[int], indent: int) -> Text:
    """Return the cells in columns, without blanks behind the last one."""
    line = Text(" " * indent)
    for cell, width in zip(cells, widths, strict=True):
        line.append(cell)
        line.append(" " * (width - len(cell) + GAP))
    line.rstrip()
    return line


def fact_lines(label: str, text: str, room: int | None) -> Iterator[str]:
    """Yield a labelled fact; on a terminal its further lines stand under its first."""
    head = f"  {label:<11}"
    yield from folded(head + text, room, " " * len(head))


def hanging(text: str) -> str:
    """Return the blanks that set off the further lines of a text in columns under its last one."""
    head, gap, _ = text.rstrip().rpartition("  ")
    return " " * min(len(head) + len(gap), 26) if head.strip() else "    "


def folded(text: str, room: int | None, indent: str = "") -> list[str]:
    """Return a text in lines that fit, the further ones indented; in one line where `room` ends."""
    if room is None or len(text) <= room:
        return [text]
    return textwrap.wrap(
        text,
        room,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
        drop_whitespace=True,
    )
