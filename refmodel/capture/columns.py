"""Samples in a table as recordings: CSV with a heading, a column a signal and one for the time.

Commas, semicolons or tabs part the cells, as they do in the heading. A row is a sample, or one of
those in which something changed. A cell is a number, decimal, `0x...` or `0b...`; `x` or `z` is
unknown, an empty cell leaves the signal as it was. With a threshold a cell is a voltage, 1 above it
and 0 below.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from fractions import Fraction
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pydantic import Field as Key
from pydantic import field_validator

from refmodel.capture.vcd_header import UNITS
from refmodel.capture.waves import FOREVER, WIDEST, Bits64, Signal, SignalChanges, Times, WavePiece
from refmodel.ground.cells import Column, OddCellError, Table, table_of
from refmodel.ground.errors import Problem, UserError, near
from refmodel.ground.line_blocks import LineBlocks
from refmodel.ground.ticks import OddTimeError, Ticks
from refmodel.ground.yamlfile import Schema
from refmodel.media.flux_list import rate_of

Progress = Callable[[int], None]
Rows = NDArray[np.int64]
BLOCK = 4 << 20  # bytes of a piece
UNKNOWN = (1 << WIDEST) - 1
SEPARATORS = ("\t", ",", ";")  # the first that a heading has
TIME_NAME = re.compile(
    r"sample|(?:time|t)(?:[ _]?[(\[]?\s*(?:s|ms|[u\u00b5\u03bc]s|ns|ps|fs)\s*[)\]]?)?", re.I
)
MICRO = str.maketrans("\u00b5\u03bc", "uu")
UNIT_NAMED = re.compile(r"(?:_|[(\[]\s*|\s)(s|ms|[u\u00b5\u03bc]s|ns|ps|fs)\s*[)\]]?$", re.I)


class TablePart(Schema):
    """How a table is read."""

    time: str | None = None
    """The column of the time; without it one with a usual name, such as `time` or `Time (us)`."""
    unit: str = "ns"
    """The unit of the time: s, ms, us, ns, ps or fs."""
    rate: Fraction | None = None
    """Samples a second, where rows are samples without a time."""
    wrap: float | None = None
    """The value at which a time counter wraps."""
    widths: dict[str, int] = Key({})
    """Columns with several bits, each with its width."""
    threshold: float | None = None
    """In volts: the threshold for analog columns."""
    hysteresis: float = Key(0.0, ge=0)
    """In volts: the width of the hysteresis around the threshold, against noise."""

    @field_validator("rate", mode="before")
    @classmethod
    def _exact_rate(cls, value: object) -> Fraction | None:
        """Take a rate as it is written."""
        return None if value is None else rate_of(str(value), "rate")


class ColumnFile:
    """A CSV file, read block by block. `progress` is told how many bytes were read."""

    def __init__(
        self, path: Path, part: TablePart | None = None, progress: Progress | None = None
    ) -> None:
        self.path = path
        self._part = part or TablePart()
        self._progress = progress or (lambda _: None)
        self.notes: Sequence[str] = ()
        self._blocks: LineBlocks | None = None
        self._separator = ","
        self._line = 0
        self._last: dict[str, tuple[int, int]] = {}
        self._ticks = Ticks(self._part.wrap, "file.wrap")

    @property
    def name(self) -> str:
        """The file's name as given."""
        return str(self.path)

    @cached_property
    def columns(self) -> list[str]:
        """The heading."""
        self._blocks = LineBlocks(self.path, BLOCK)
        for line in self._blocks.lines():
            self._line += 1
            if line.strip() and not line.lstrip().startswith((";", "#")):
                break
        else:
            raise UserError(f"{self.path}: is empty; a table begins with a heading")
        self._separator = next((one for one in SEPARATORS if one in line), ",")
        cells = [cell.strip().strip('"').strip() for cell in line.split(self._separator)]
        if all(_number(cell) for cell in cells):
            raise UserError(f"{self.path}:{self._line}: has no heading; name the columns in line 1")
        twice = next((name for name in cells if name and cells.count(name) > 1), None)
        if twice is not None:
            at = cells.index(twice, cells.index(twice) + 1) + 1
            message = f"two columns are called '{twice}'; give each a name of its own"
            raise UserError(str(Problem(self.path, self._line, at, "", message)))
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
        found = [name for name in columns if TIME_NAME.fullmatch(name)]
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
        if self._blocks is None:
            raise UserError(f"{self.path}: has been read; a pipe can be read once only")
        rows = 0
        for block in self._blocks:
            table = table_of(block, self._separator, len(self.columns))
            ns = self._times(table, stamp, rows)
            held = {name: self._changes(name, table, column, ns) for name, column in at.items()}
            rows += len(table)
            self._line += block.count(b"\n")
            self._progress(self._blocks.read)
            end = float(np.nextafter(ns[-1], FOREVER)) if len(ns) else -FOREVER
            yield WavePiece(end, held)
        self._blocks = None
        if self.path.is_file():
            del self.__dict__["columns"]
            self._line, self._last = 0, {}
            self._ticks = Ticks(self._part.wrap, "file.wrap")

    def _times(self, table: Table, stamp: int | None, first: int) -> Times:
        """Return the time of each row in ns."""
        if stamp is None:
            assert self._part.rate is not None
            sample = first + np.arange(len(table), dtype=np.float64)
            return sample * float(1_000_000_000 / self._part.rate)
        try:
            ticks = table.column(stamp).floats()
        except OddCellError as error:
            raise self._fault(table, error.row, stamp, f"'{error.shown}' is not a time") from None
        try:
            return self._ticks.go_on(ticks) * self._unit_ns()
        except OddTimeError as error:
            raise self._fault(table, error.at, stamp, str(error)) from None

    def _unit_ns(self) -> float:
        part = self._part
        if part.rate is not None:
            return float(1_000_000_000 / part.rate)
        named = UNIT_NAMED.search(self.time_column or "")
        unit = named[1].lower().translate(MICRO) if named and part.unit == "ns" else part.unit
        if unit not in UNITS:
            raise UserError(f"{self.path}: file.unit '{unit}' is not a unit{near(unit, UNITS)}")
        return float(10.0 ** UNITS[unit])

    def _fault(self, table: Table, row: int, column: int, message: str) -> UserError:
        """Return a fault of one cell."""
        line = self._line + int(table.line[row]) + 1
        return UserError(str(Problem(self.path, line, column + 1, "", message)))

    def _changes(self, name: str, table: Table, column: int, ns: Times) -> SignalChanges:
        """Return where a column changes within some rows."""
        row, value, unknown = self._read(name, table, column)
        before = self._last.get(name)
        new = np.ones(len(value), bool)
        new[1:] = (value[1:] != value[:-1]) | (unknown[1:] != unknown[:-1])
        if before is not None and len(value):
            new[0] = (int(value[0]), int(unknown[0])) != before
        if len(value):
            self._last[name] = (int(value[-1]), int(unknown[-1]))
        return SignalChanges(ns[row[new]], value[new], unknown[new])

    def _read(self, name: str, table: Table, column: int) -> tuple[Rows, Bits64, Bits64]:
        """Return the rows whose cell is another than the one above, with its value."""
        cells = table.column(column)
        held = self._last.get(name, (0, UNKNOWN))
        row = np.arange(len(cells))
        if self._part.threshold is None:
            row = row[~cells.repeats()]
            value, odd = cells.part(row).integers()
        else:
            value, odd = self._levels(cells, held)
        unknown = np.zeros(len(row), np.uint64)
        known: dict[str, tuple[int, int]] = {}
        for at in np.flatnonzero(odd).tolist():
            cell = cells.cell(int(row[at]))
            now = held if at == 0 else (int(value[at - 1]), int(unknown[at - 1]))
            if cell not in known or not cell or self._part.threshold is not None:
                try:
                    known[cell] = self._cell(cell, now)
                except ValueError as error:
                    raise self._fault(table, int(row[at]), column, str(error)) from None
            value[at], unknown[at] = known[cell]
        return row, value, unknown

    def _levels(self, cells: Column, held: tuple[int, int]) -> tuple[Bits64, NDArray[np.bool_]]:
        """Return what voltages are as levels; all are left over if one is no voltage."""
        assert self._part.threshold is not None
        try:
            volts = cells.floats()
        except OddCellError:
            return np.zeros(len(cells), np.uint64), np.ones(len(cells), bool)
        sure = np.abs(volts - self._part.threshold) >= self._part.hysteresis / 2
        if held[1] and len(sure):
            sure[0] = True
        since = np.maximum.accumulate(np.where(sure, np.arange(len(sure)), -1))
        level = np.where(since < 0, held[0], volts[since] > self._part.threshold)
        return level.astype(np.uint64), np.zeros(len(cells), bool)

    def _cell(self, cell: str, now: tuple[int, int]) -> tuple[int, int]:
        """Return value and unknown bits of one cell; raise ValueError for what is not a value."""
        part = self._part
        if not cell:
            return now
        if not set(cell.lower()) - set("xz?"):
            return 0, UNKNOWN
        message = f"'{cell[:40]}' is not a value; write 0, 1, 0x1F, or x where it is unknown"
        try:
            if part.threshold is None:
                value = int(cell, 0) if not cell.isdecimal() else int(cell)
            else:
                volts, half = float(cell), part.hysteresis / 2
                if not now[1] and abs(volts - part.threshold) < half:
                    return now
                value = int(volts > part.threshold)
        except ValueError:
            raise ValueError(message) from None
        if value < 0:
            raise ValueError(message)
        return value & UNKNOWN, 0


def _number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True
