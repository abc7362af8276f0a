"""Samples in a table as recordings: CSV with a heading, a column a signal and one for the time.

A row is a sample, or one of those in which something changed. A cell is a number, decimal, `0x...`
or `0b...`; `x` or `z` is unknown, an empty cell leaves the signal as it was. With a threshold a
cell is a voltage, 1 above it and 0 below.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator, Mapping, Sequence
from fractions import Fraction
from functools import cached_property
from itertools import islice
from pathlib import Path
from typing import IO

import numpy as np
from pydantic import Field as Key
from pydantic import field_validator

from refmodel.capture.vcd_header import UNITS
from refmodel.capture.waves import FOREVER, WIDEST, Signal, SignalChanges, WavePiece
from refmodel.ground.errors import Problem, UserError, near
from refmodel.ground.yamlfile import Schema
from refmodel.media.flux_list import rate_of

Progress = Callable[[int], None]
ROWS = 100_000  # of a piece
TIME_NAMES = ("time", "t", "time_ns", "time_us", "time_ms", "time_s", "sample")


class TablePart(Schema):
    """How a table is read.

    `time` names the column of the time, in `unit`s; without one, rows are `rate` samples a second.
    `wrap` is where a counter of time starts again. `widths` has columns of several bits.
    `threshold` in volts makes analog columns digital, `hysteresis` keeps noise from doing so.
    """

    time: str | None = None
    unit: str = "ns"
    rate: Fraction | None = None
    wrap: float | None = None
    widths: dict[str, int] = Key({})
    threshold: float | None = None
    hysteresis: float = Key(0.0, ge=0)

    @field_validator("rate", mode="before")
    @classmethod
    def _exact_rate(cls, value: object) -> Fraction | None:
        """Take a rate as it is written."""
        return None if value is None else rate_of(str(value), "rate")


class ColumnFile:
    """A CSV file. `progress` is told how many bytes were read."""

    def __init__(
        self, path: Path, part: TablePart | None = None, progress: Progress | None = None
    ) -> None:
        self.path = path
        self._part = part or TablePart()
        self._progress = progress or (lambda _: None)
        self.notes: Sequence[str] = ()
        self._file: IO[str] | None = None
        self._line = 0
        self._last: dict[str, tuple[int, int]] = {}
        self._wraps = 0.0
        self._before = -FOREVER

    @property
    def name(self) -> str:
        """The file's name as given."""
        return str(self.path)

    @cached_property
    def columns(self) -> list[str]:
        """The heading."""
        try:
            self._file = self.path.open(encoding="utf-8", errors="replace", newline="")
        except OSError as error:
            raise UserError(f"{self.path}: cannot be read: {error.strerror}") from None
        for row in csv.reader(self._file):
            self._line += 1
            cells = [cell.strip() for cell in row]
            if any(cells) and not cells[0].startswith((";", "#")):
                break
        else:
            raise UserError(f"{self.path}: is empty; a table begins with a heading")
        if all(_number(cell) for cell in cells):
            raise UserError(f"{self.path}:{self._line}: has no heading; name the columns in line 1")
        return cells

    @cached_property
    def time_column(self) -> str | None:
        """The column of the time; None where rows are samples of a rate."""
        part, columns = self._part, self.columns
        if part.time is not None:
            if part.time not in columns:
                raise UserError(f"{self.path}: no column '{part.time}'{near(part.time, columns)}")
            return part.time
        if part.rate is not None:
            return None
        found = [name for name in columns if name.lower() in TIME_NAMES]
        if not found:
            raise UserError(
                f"{self.path}: no column of times; name one (file.time) or give the rate of the"
                f" samples (file.rate); columns: {', '.join(columns[:12])}"
            )
        return found[0]

    @property
    def signals(self) -> Mapping[str, Signal]:
        """The columns by their names; how wide they are only the whole file would tell."""
        return {
            name: Signal(name, self._part.widths.get(name, 0))
            for name in self.columns
            if name and name != self.time_column
        }

    def pieces(self, names: Sequence[str]) -> Iterator[WavePiece]:
        """Yield the changes of some columns, so many rows at a time."""
        at = {name: self.columns.index(name) for name in names}
        stamp = None if self.time_column is None else self.columns.index(self.time_column)
        if self._file is None:
            raise UserError(f"{self.path}: has been read; a pipe can be read once only")
        with self._file as file:
            rows = csv.reader(file)
            number = 0
            while block := list(islice(rows, ROWS)):
                ns = self._times(block, stamp, number)
                held = {name: self._changes(name, block, column, ns) for name, column in at.items()}
                number += len(block)
                self._line += len(block)
                self._progress(_told(file))
                end = float(np.nextafter(ns[-1], FOREVER)) if len(ns) else -FOREVER
                yield WavePiece(end, held)
        self._file = None
        if self.path.is_file():
            del self.__dict__["columns"]
            self._last, self._wraps, self._before = {}, 0.0, -FOREVER

    def _times(self, block: list[list[str]], stamp: int | None, first: int) -> np.ndarray:
        """Return the time of each row in ns."""
        if stamp is None:
            assert self._part.rate is not None
            return (first + np.arange(len(block))) * float(1_000_000_000 / self._part.rate)
        try:
            ticks = np.array([float(row[stamp]) for row in block])
        except (ValueError, IndexError):
            raise self._odd_row(block, stamp, "is no time") from None
        if self._part.wrap is not None:
            back = np.diff(ticks, prepend=self._before if self._before > -FOREVER else ticks[0]) < 0
            self._before = float(ticks[-1])
            lap = self._wraps + self._part.wrap * np.cumsum(back)
            self._wraps = float(lap[-1])
            ticks = ticks + lap
        else:
            early = np.flatnonzero(np.diff(ticks, prepend=self._before) < 0)
            if len(early):
                line = self._line + int(early[0]) + 1
                message = (
                    f"time {ticks[early[0]]:g} comes before the one above it; if a counter"
                    " wrapped here, file.wrap says at how much"
                )
                raise UserError(str(Problem(self.path, line, stamp + 1, "", message)))
            self._before = float(ticks[-1])
        return ticks * self._unit_ns()

    def _unit_ns(self) -> float:
        part = self._part
        if part.rate is not None:
            return float(1_000_000_000 / part.rate)
        named = (self.time_column or "").rpartition("_")[2]
        unit = named if part.unit == "ns" and named in UNITS else part.unit
        if unit not in UNITS:
            raise UserError(f"{self.path}: file.unit '{unit}' is no unit{near(unit, UNITS)}")
        return float(10.0 ** UNITS[unit])

    def _odd_row(self, block: list[list[str]], column: int, why: str) -> UserError:
        """Return the fault of the first row whose cell is no number."""
        for at, row in enumerate(block):
            if column >= len(row) or not _number(row[column]):
                shown = row[column] if column < len(row) else ""
                line = self._line + at + 1
                return UserError(
                    str(Problem(self.path, line, column + 1, "", f"'{shown[:40]}' {why}"))
                )
        return UserError(f"{self.path}: column {column + 1} {why}")

    def _changes(
        self, name: str, block: list[list[str]], column: int, ns: np.ndarray
    ) -> SignalChanges:
        """Return where a column changes within some rows."""
        cells = [row[column].strip() if column < len(row) else "" for row in block]
        pairs = self._read(name, cells, column)
        value, unknown = np.array(pairs, np.uint64).reshape(-1, 2).T
        before = self._last.get(name)
        new = np.ones(len(value), bool)
        new[1:] = (value[1:] != value[:-1]) | (unknown[1:] != unknown[:-1])
        if before is not None and len(value):
            new[0] = (int(value[0]), int(unknown[0])) != before
        if len(value):
            self._last[name] = (int(value[-1]), int(unknown[-1]))
        return SignalChanges(ns[new], value[new], unknown[new])

    def _read(self, name: str, cells: list[str], column: int) -> list[tuple[int, int]]:
        """Return value and unknown bits of each cell."""
        now = self._last.get(name, (0, (1 << WIDEST) - 1))
        known: dict[str, tuple[int, int]] = {"": now}
        pairs = []
        for at, cell in enumerate(cells):
            if cell in known:
                now = known[cell] if cell else now
            else:
                now = self._cell(cell, now, at, column)
                if self._part.threshold is None:
                    known[cell] = now
            pairs.append(now)
        return pairs

    def _cell(self, cell: str, now: tuple[int, int], at: int, column: int) -> tuple[int, int]:
        """Return value and unknown bits of one cell."""
        part = self._part
        try:
            if part.threshold is not None:
                level, half = float(cell), part.hysteresis / 2
                if now[1] == 0 and abs(level - part.threshold) < half:
                    return now
                return int(level > part.threshold), 0
            return int(cell, 0) if not cell.isdecimal() else int(cell), 0
        except ValueError:
            if cell and not set(cell.lower()) - set("xz?"):
                return 0, (1 << WIDEST) - 1
            message = f"'{cell[:40]}' is no value; write 0, 1, 0x1F, or x where it is unknown"
            raise UserError(
                str(Problem(self.path, self._line + at + 1, column + 1, "", message))
            ) from None


def _number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _told(file: IO[str]) -> int:
    """Return how many bytes of a file have been read."""
    try:
        return int(file.buffer.tell())  # type: ignore[attr-defined]
    except (OSError, ValueError):
        return 0
