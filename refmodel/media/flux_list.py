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

import csv
import io
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from refmodel.ground.errors import Problem, UserError, near
from refmodel.ground.yamlfile import exact_number
from refmodel.media.flux import LONGEST_NS
from refmodel.media.seeded import Floats

WORDS = ("rate", "times", "wrap", "index")
COLUMNS = ("interval", "time", "index")
LARGEST = 1 << 30  # bytes of a flux file: a hundred revolutions take some 40 MB as text
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
        text = path.read_bytes().decode()
    except OSError as error:
        raise UserError(f"{path}: cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise UserError(f"{path}: is no text; flux is text, CSV, .npy or .npz") from None
    if path.suffix == ".csv":
        return _Csv(path, reading).read(text)
    return _Text(path, reading).read(text)


class _Lines:
    """Numbers of a text file, each with the line it stands on."""

    def __init__(self, path: Path, reading: Reading) -> None:
        self.path = path
        self.reading = reading
        self.pulses: list[float] = []
        self.lines: list[int] = []
        self.index: list[float] = []

    def fault(self, line: int, message: str) -> UserError:
        return UserError(str(Problem(self.path, line, 1, "", message)))

    def number(self, text: str, line: int) -> float:
        try:
            return float(text)
        except ValueError:
            raise self.fault(line, f"'{text[:40]}' is no number") from None

    def word(self, words: Sequence[str], line: int) -> None:
        """Take a line that says how the numbers are meant."""
        name, values = words[0], words[1:]
        if name not in WORDS:
            raise self.fault(
                line, f"'{name[:40]}' is no number and no word here{near(name, WORDS)}"
            )
        if name == "index":
            self.index += [self.number(value, line) for value in values]
        elif name == "times" and not values:
            self.reading = replace(self.reading, times=True)
        elif len(values) != 1 or name == "times":
            raise self.fault(line, f"'{name}' takes {'nothing' if name == 'times' else 'a number'}")
        elif name == "rate":
            self.reading = replace(self.reading, rate=rate_of(values[0], f"{self.path}:{line}"))
        else:
            self.reading = replace(self.reading, wrap=self.number(values[0], line))

    def flux(self) -> FluxList:
        """Return the flux of the lines read."""
        where = [f"{self.path}:{line}" for line in self.lines]
        return flux_of(self.pulses, self.index, self.reading, str(self.path), where)


class _Text(_Lines):
    """A plain text list."""

    def read(self, text: str) -> FluxList:
        """Return the flux of the text."""
        for number, line in enumerate(text.splitlines(), 1):
            words = line.partition("#")[0].replace(",", " ").split()
            if words and words[0][0].isalpha():
                self.word(words, number)
                continue
            self.pulses += [self.number(word, number) for word in words]
            self.lines += [number] * len(words)
        return self.flux()


class _Csv(_Lines):
    """A CSV list: comment lines with words as in text, a heading, then a row a pulse."""

    def read(self, text: str) -> FluxList:
        """Return the flux of the text."""
        columns: dict[str, int] = {}
        for number, row in enumerate(csv.reader(io.StringIO(text)), 1):
            cells = [cell.strip() for cell in row]
            if not any(cells) or cells[0].startswith("#"):
                continue
            if not columns:
                words = cells[0].split()
                if words[0] in WORDS and len(words) > 1:
                    self.word(words, number)
                else:
                    columns = self._heading(cells, number)
                continue
            self._row(cells, columns, number)
        return self.flux()

    def _heading(self, cells: list[str], line: int) -> dict[str, int]:
        """Return where the columns are."""
        columns = {cell: n for n, cell in enumerate(cells) if cell in COLUMNS}
        if "interval" in columns and "time" in columns:
            raise self.fault(line, "has both columns interval and time; leave one out")
        if "interval" not in columns and "time" not in columns:
            raise self.fault(line, "the heading has no column 'interval' or 'time'")
        self.reading = replace(self.reading, times="time" in columns)
        return columns

    def _row(self, cells: list[str], columns: dict[str, int], line: int) -> None:
        """Take the numbers of a row."""
        for name, at in columns.items():
            if at >= len(cells) or not cells[at]:
                continue
            value = self.number(cells[at], line)
            if name == "index":
                self.index.append(value)
            else:
                self.pulses.append(value)
                self.lines.append(line)


def _from_numpy(path: Path, reading: Reading) -> FluxList:
    """Return the flux of an .npy or .npz file."""
    try:
        loaded = np.load(path, allow_pickle=False)
        held = {name: loaded[name] for name in loaded.files} if path.suffix == ".npz" else {}
    except (ValueError, EOFError, KeyError, zipfile.BadZipFile) as error:
        raise UserError(f"{path}: is no numpy file of plain numbers: {error}") from None
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
            f"{path}: an array of {array.dtype} in {array.ndim} dimensions is no list of numbers"
        )
    return np.atleast_1d(array).astype(np.float64)


def rate_of(text: str, where: str) -> Fraction:
    """Return a rate in ticks a second; raise UserError for none above 0."""
    rate = exact_number(text.replace("_", ""))
    if rate is None or not 0 < rate <= FASTEST:
        raise UserError(f"{where}: '{text[:40]}' is no rate in ticks a second, e.g. 24000000")
    return rate


def flux_of(
    numbers: Sequence[float] | Floats,
    index: Sequence[float] | Floats,
    reading: Reading,
    name: str,
    where: Sequence[str] = (),
) -> FluxList:
    """Return the pulses that numbers stand for; `where` says where each stands in its file.

    Raises UserError when there is no pulse, or time does not go on from each to the next.
    """
    values = np.asarray(numbers, np.float64)
    if not len(values):
        raise UserError(f"{name}: holds no pulse")

    def place(at: int) -> str:
        return where[at] if where else f"{name}: pulse {at}"

    wrong = np.flatnonzero(~np.isfinite(values) | (values < 0))
    if len(wrong):
        raise UserError(f"{place(int(wrong[0]))}: {values[wrong[0]]:g} is no time")
    if reading.times:
        values = unwrapped(values, reading.wrap)
        back = np.flatnonzero(np.diff(values) <= 0) + 1
        hint = "; if a counter wrapped here, say `wrap` and at how many ticks it does"
    else:
        back = np.flatnonzero(values[1:] <= 0) + 1
        values, hint = np.cumsum(values), "; two pulses cannot come at one time"
    if len(back):
        at = int(back[0])
        raise UserError(f"{place(at)}: this pulse is not after the one before it{hint}")
    edges = unwrapped(np.asarray(index, np.float64), reading.wrap if reading.times else None)
    if not np.isfinite(edges).all() or (np.diff(edges) <= 0).any():
        raise UserError(f"{name}: index times must be numbers in order of time")
    if values[-1] * reading.unit_ns > LONGEST_NS:
        raise UserError(f"{name}: the last pulse is later than {LONGEST_NS:g} ns; is `rate` right?")
    return FluxList(values * reading.unit_ns, edges * reading.unit_ns)


def unwrapped(values: Floats, wrap: float | None) -> Floats:
    """Return counter values with every wrap undone; each fall is taken for one wrap."""
    if wrap is None or not len(values):
        return values
    if not wrap > values.max():
        raise UserError(f"wrap {wrap:g}: a value of {values.max():g} is not below it")
    return np.asarray(values + wrap * np.cumsum(np.diff(values, prepend=values[0]) < 0))
