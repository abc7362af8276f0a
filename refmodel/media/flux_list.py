"""Captured flux from a file: a plain list of pulses and index pulses, as text, CSV or numpy.

Text has one number a line, the time from the pulse before (the first: from the start). A line that
begins with a word says how to read the numbers, for the whole file, wherever it stands:

    rate 24000000      the numbers are ticks of so many a second; without it they are nanoseconds
    times              they are times from the start, not from pulse to pulse
    wrap 65536         times come from a counter that starts again at so many
    index 0 4800210    when index pulses began, in the same unit, from the start

and `#` begins a comment. CSV has a heading with a column `interval` or `time`, and may have one
`index` whose cells end sooner. An .npy array holds intervals in nanoseconds; an .npz holds
`intervals` or `times`, and may hold `index`, `rate` and `wrap`.
"""

from __future__ import annotations

import zipfile
from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.cells import Column, OddCellError, table_of, words_of
from refmodel.ground.errors import Problem, UserError, near
from refmodel.ground.line_blocks import LineBlocks
from refmodel.ground.ticks import OddTimeError, Ticks
from refmodel.ground.yamlfile import exact_number
from refmodel.media.flux import LONGEST_NS
from refmodel.media.seeded import Floats

WORDS = ("rate", "times", "wrap", "index")
COLUMNS = ("interval", "time", "index")
LARGEST = 1 << 30  # bytes of a flux file: a hundred revolutions take some 40 MB as text
BLOCK = 4 << 20  # bytes read at a time
FASTEST = 10**12  # ticks a second


@dataclass(frozen=True)
class Reading:
    """How the numbers of a flux file are meant; see the module.

    `rate` is in ticks a second, None for nanoseconds; `wrap` in ticks, None for a counter that
    does not.
    """

    rate: Fraction | None = None
    wrap: float | None = None
    times: bool = False

    @property
    def unit_ns(self) -> float:
        """The nanoseconds that 1 stands for."""
        return 1.0 if self.rate is None else float(1_000_000_000 / self.rate)


@dataclass(frozen=True, eq=False)
class FluxList:
    """Pulses and index pulses of a capture, each in ns from its start, in order."""

    ns: Floats
    index_ns: Floats


def read_flux(path: Path, reading: Reading | None = None) -> FluxList:
    """Return the flux of a file; what it says itself goes before `reading`.

    Raises UserError, naming the place, for a file that is missing, empty, or no list of times.
    """
    reading = reading or Reading()
    try:
        if path.is_file() and path.stat().st_size > LARGEST:
            raise UserError(f"{path}: is larger than {LARGEST >> 30} GiB; cut it into pieces")
        if path.suffix in (".npy", ".npz"):
            return _from_numpy(path, reading)
    except OSError as error:
        raise UserError(f"{path}: cannot be read: {error.strerror}") from None
    return (_Csv if path.suffix == ".csv" else _Text)(path, reading).flux()


class _Lines(ABC):
    """Numbers of a text file, block by block, each with the line it stands on."""

    def __init__(self, path: Path, reading: Reading) -> None:
        self.path = path
        self.reading = reading
        self._blocks = LineBlocks(path, BLOCK)
        self._above = 0  # lines above the block
        self._pulses: list[Floats] = []
        self._lines: list[NDArray[np.int32]] = []
        self._index: list[Floats] = []

    def fault(self, line: int, message: str) -> UserError:
        return UserError(str(Problem(self.path, line, 1, "", message)))

    def word(self, words: Sequence[str], line: int) -> None:
        """Take a line that says how the numbers are meant."""
        name, values = words[0], words[1:]
        if name not in WORDS:
            raise self.fault(
                line, f"'{name[:40]}' is not a number or a word known here{near(name, WORDS)}"
            )
        if name == "index":
            self._index.append(np.array([self._number(value, line) for value in values]))
        elif name == "times" and not values:
            self.reading = replace(self.reading, times=True)
        elif len(values) != 1 or name == "times":
            raise self.fault(line, f"'{name}' takes {'nothing' if name == 'times' else 'a number'}")
        elif name == "rate":
            self.reading = replace(self.reading, rate=rate_of(values[0], f"{self.path}:{line}"))
        else:
            self.reading = replace(self.reading, wrap=self._number(values[0], line))

    def _number(self, text: str, line: int) -> float:
        try:
            return float(text)
        except ValueError:
            raise self.fault(line, f"'{text[:40]}' is not a number") from None

    def numbers(self, cells: Column, line: NDArray[np.int64], index: bool = False) -> None:
        """Take pulses, or index pulses, and the lines they stand on, counted within the block."""
        try:
            found = cells.floats()
        except OddCellError as error:
            where = self._above + int(line[error.row]) + 1
            raise self.fault(where, f"'{error.shown}' is not a number") from None
        if index:
            self._index.append(found)
        else:
            self._pulses.append(found)
            self._lines.append((line + self._above + 1).astype(np.int32))

    def flux(self) -> FluxList:
        """Return the flux of all lines."""
        for block in self._blocks:
            if b"\0" in block:
                raise UserError(f"{self.path}: is not text; flux is text, CSV, .npy or .npz")
            self.block(block)
            self._above += block.count(b"\n")
        pulses = _joined(self._pulses)
        self._pulses.clear()
        return flux_of(pulses, _joined(self._index), self.reading, str(self.path), self._where)

    def _where(self, at: int) -> str:
        """Say where a pulse stands."""
        for lines in self._lines:
            if at < len(lines):
                break
            at -= len(lines)
        return f"{self.path}:{lines[at]}"

    @abstractmethod
    def block(self, block: bytes) -> None:
        """Take some lines."""


class _Text(_Lines):
    """A plain text list."""

    def block(self, block: bytes) -> None:
        """Take some lines: numbers, and such as begin with a word."""
        words, line = words_of(block)
        first = np.diff(line, prepend=-1) > 0
        letter = words.letter(0) | 32
        said = np.flatnonzero(first & (letter >= ord("a")) & (letter <= ord("z")))
        plain = np.ones(len(words), bool)
        for at in said.tolist():
            here = np.flatnonzero(line == line[at])
            plain[here] = False
            self.word([words.cell(n) for n in here.tolist()], self._above + int(line[at]) + 1)
        self.numbers(words.part(plain), line[plain])


class _Csv(_Lines):
    """A CSV list: comment lines with words as in text, a heading, then a row a pulse."""

    def __init__(self, path: Path, reading: Reading) -> None:
        super().__init__(path, reading)
        self._columns: dict[str, int] = {}
        for line in self._blocks.lines():
            self._above += 1
            cells = [cell.strip() for cell in line.split(",")]
            if not any(cells) or cells[0].startswith("#"):
                continue
            words = cells[0].split()
            if words[0] not in WORDS or len(words) < 2:
                self._width = len(cells)
                self._columns = self._heading(cells, self._above)
                break
            self.word(words, self._above)

    def _heading(self, cells: list[str], line: int) -> dict[str, int]:
        """Return where the columns are."""
        columns = {cell: n for n, cell in enumerate(cells) if cell in COLUMNS}
        if "interval" in columns and "time" in columns:
            raise self.fault(line, "has both columns interval and time; leave one out")
        if "interval" not in columns and "time" not in columns:
            raise self.fault(line, "the heading has no column 'interval' or 'time'")
        self.reading = replace(self.reading, times="time" in columns)
        return columns

    def block(self, block: bytes) -> None:
        """Take the numbers of some rows."""
        table = table_of(block, ",", self._width)
        plain = ~table.column(0).begins("#")
        for name, at in self._columns.items():
            cells = table.column(at)
            held = plain & (cells.length > 0)
            self.numbers(cells.part(held), table.line[held], index=name == "index")


def _joined(parts: Sequence[NDArray[Any]]) -> NDArray[Any]:
    return np.concatenate(parts) if parts else np.empty(0)


def _from_numpy(path: Path, reading: Reading) -> FluxList:
    """Return the flux of an .npy or .npz file."""
    try:
        loaded = np.load(path, allow_pickle=False)
        held = {name: loaded[name] for name in loaded.files} if path.suffix == ".npz" else {}
    except (ValueError, EOFError, KeyError, zipfile.BadZipFile) as error:
        raise UserError(f"{path}: is not a numpy file of plain numbers: {error}") from None
    if path.suffix == ".npy":
        held = {"intervals": loaded}
    names = [name for name in ("intervals", "times") if name in held]
    if len(names) != 1:
        raise UserError(f"{path}: should hold one of the arrays 'intervals' and 'times'")
    if "rate" in held:
        reading = replace(reading, rate=rate_of(str(held["rate"]), f"{path}: rate"))
    if "wrap" in held:
        reading = replace(reading, wrap=float(_numbers(held["wrap"], path).ravel()[0]))
    reading = replace(reading, times=names == ["times"])
    index = _numbers(held.get("index", np.empty(0)), path)
    return flux_of(_numbers(held[names[0]], path), index, reading, str(path))


def _numbers(array: np.ndarray, path: Path) -> Floats:
    """Return an array as numbers; raise UserError for one of another kind."""
    if array.dtype.kind not in "iuf" or array.ndim > 1:
        raise UserError(
            f"{path}: an array of {array.dtype} in {array.ndim} dimensions is not a list of numbers"
        )
    return np.atleast_1d(array).astype(np.float64)


def rate_of(text: str, where: str) -> Fraction:
    """Return a rate in ticks a second; raise UserError for none above 0."""
    rate = exact_number(text.replace("_", ""))
    if rate is None or not 0 < rate <= FASTEST:
        raise UserError(f"{where}: '{text[:40]}' is not a rate in ticks per second, e.g. 24000000")
    return rate


def flux_of(
    values: Floats,
    index: Floats,
    reading: Reading,
    name: str,
    where: Callable[[int], str] | None = None,
) -> FluxList:
    """Return the pulses that numbers stand for; `where` says where each stands in its file.

    The array of the numbers may be used for the pulses. Raises UserError when there is no pulse, or
    time does not go on from each to the next.
    """
    if not len(values):
        raise UserError(f"{name}: holds no pulse")

    def place(at: int) -> str:
        return where(at) if where else f"{name}: pulse {at}"

    wrong = np.flatnonzero(~np.isfinite(values) | (values < 0))
    if len(wrong):
        raise UserError(f"{place(int(wrong[0]))}: {values[wrong[0]]:g} is not a time")
    if reading.times:
        values = _unwrapped(values, reading.wrap, place)
        back = np.flatnonzero(values[1:] <= values[:-1]) + 1
        hint = "; if a counter wrapped here, say `wrap` and at how many ticks it does"
    else:
        back = np.flatnonzero(values[1:] <= 0) + 1
        np.cumsum(values, out=values)
        hint = "; two pulses cannot come at one time"
    if len(back):
        at = int(back[0])
        if at == len(values) - 1:
            hint += "; if the file is cut off, remove its last line"
        raise UserError(f"{place(at)}: this pulse is not after the one before it{hint}")
    edges = index
    if reading.times:
        edges = _unwrapped(index, reading.wrap, lambda at: f"{name}: index pulse {at}")
    if not np.isfinite(edges).all() or (np.diff(edges) <= 0).any():
        raise UserError(f"{name}: index times must be numbers in order of time")
    if values[-1] * reading.unit_ns > LONGEST_NS:
        raise UserError(f"{name}: the last pulse is later than {LONGEST_NS:g} ns; is `rate` right?")
    values *= reading.unit_ns
    return FluxList(values, edges * reading.unit_ns)


def _unwrapped(values: Floats, wrap: float | None, place: Callable[[int], str]) -> Floats:
    """Return counter values with every wrap undone; raise UserError for one that cannot be."""
    if wrap is None:
        return values
    try:
        return Ticks(wrap, "wrap").go_on(values)
    except OddTimeError as error:
        raise UserError(f"{place(error.at)}: {error}") from None
