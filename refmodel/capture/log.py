"""A log of register accesses: lines of time, register and value, as a small program writes them.

    # microseconds, from the index
    103.5  sync_word  0x4489
    140.2  status     0x8044

A read of `status` has what it returned; the other registers have what was written. Commas do as
well as blanks. Nothing in a log tells the cycle of an access: it lies within a tolerance.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import IO, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field as Key
from pydantic import field_validator

from refmodel.capture.map_parts import BeginPart
from refmodel.capture.vcd_header import UNITS
from refmodel.capture.waves import Times
from refmodel.ground.bus import READ_STATUS, WRITE_KINDS
from refmodel.ground.cells import Column, OddCellError, words_of
from refmodel.ground.errors import Problem, UserError, near
from refmodel.ground.line_blocks import LineBlocks
from refmodel.ground.ticks import OddTimeError, Ticks
from refmodel.ground.word import WORD
from refmodel.ground.yamlfile import Schema
from refmodel.media.flux_list import rate_of

Progress = Callable[[int], None]
STATUS = "status"
KINDS = {STATUS: int(READ_STATUS), **{n: int(k) for n, k in WRITE_KINDS.items()}}
BLOCK = 4 << 20  # bytes read at a time


class LogPart(Schema):
    """How a log is read: the unit of its times or the rate of its ticks, and how exact they are."""

    unit: str = "us"
    """The unit of the times: s, ms, us, ns, ps or fs."""
    rate: Fraction | None = None
    """Ticks a second, where the times are ticks."""
    wrap: float | None = None
    """The value at which a time counter wraps."""
    offset_us: float | Literal["auto"] = "auto"
    """When its time 0 was within the flux; `auto` finds it."""
    drift_ppm: float = Key(0.0, ge=-100_000, le=100_000)
    """How much faster its clock runs than that of the flux."""
    tolerance_us: float = Key(1.0, gt=0, le=1000)
    """An access is at most this far from its time."""

    @field_validator("rate", mode="before")
    @classmethod
    def _exact_rate(cls, value: object) -> Fraction | None:
        return None if value is None else rate_of(str(value), "rate")

    @field_validator("unit")
    @classmethod
    def _known_unit(cls, value: str) -> str:
        if value not in UNITS:
            raise ValueError(f"'{value}' is not a unit{near(value, UNITS)}")
        return value

    @property
    def unit_ns(self) -> float:
        """The nanoseconds that 1 stands for."""
        return float(10.0 ** UNITS[self.unit] if self.rate is None else 1_000_000_000 / self.rate)


class TrackPart(Schema):
    """The disk the log was made with: captured flux."""

    file: str
    """The file of flux."""
    rate: Fraction | None = None
    """Ticks a second that the file's numbers are counted in, e.g. 24000000; without it they are
    ns."""

    @field_validator("rate", mode="before")
    @classmethod
    def _exact_rate(cls, value: object) -> Fraction | None:
        return None if value is None else rate_of(str(value), "rate")


class LogMap(Schema):
    """A map for a log: the flux it belongs to, and levels that were held while it was made."""

    profile: str = "pal_dd"
    """The controller: a profile by name, or a YAML file."""
    policies: dict[str, str] = Key({})
    """Policies that differ from the profile's."""
    log: LogPart
    """How the log is read."""
    track: TrackPart
    """The flux of the disk the log was made with."""
    begin: BeginPart = BeginPart()
    """What is known of the controller at the log's begin."""
    wait_for_sync: Literal[0, 1] = 0
    """The level that was held while it was made."""


@dataclass(frozen=True)
class Log:
    """Accesses in order of time: ns, kind of bus cycle, and the value read or written."""

    ns: Times
    kind: NDArray[np.uint8]
    value: NDArray[np.uint16]

    @classmethod
    def none(cls) -> Log:
        """Return no access."""
        return cls(np.empty(0), np.empty(0, np.uint8), np.empty(0, np.uint16))

    def __len__(self) -> int:
        return len(self.ns)

    @property
    def reads(self) -> Log:
        """Those of them that read status."""
        return self.part(self.kind == READ_STATUS)

    def part(self, which: slice | NDArray[np.bool_]) -> Log:
        """Return some of the accesses."""
        return Log(self.ns[which], self.kind[which], self.value[which])

    def then(self, later: Log) -> Log:
        """Return these accesses and later ones."""
        return Log(
            np.concatenate((self.ns, later.ns)),
            np.concatenate((self.kind, later.kind)),
            np.concatenate((self.value, later.value)),
        )


class LogFile:
    """A log, read in pieces as often as it is asked for; what comes from a pipe is kept on disk.

    `progress` is told how many bytes were read. Raises UserError, naming the line, for what is no
    log.
    """

    def __init__(self, path: Path, part: LogPart, progress: Progress | None = None) -> None:
        self.path = path
        self._part = part
        self._progress = progress or (lambda _: None)
        self._kept: IO[bytes] | None = None if path.is_file() else _spooled(path)
        self._whole: Log | None = None  # a short log is read once

    def pieces(self) -> Iterator[Log]:
        """Yield the accesses, some at a time."""
        if self._whole is not None:
            yield self._whole
            return
        again = None
        if self._kept is not None:
            self._kept.seek(0)
            again = os.fdopen(os.dup(self._kept.fileno()), "rb")
        blocks = LineBlocks(self.path, BLOCK, again)
        ticks = Ticks(self._part.wrap, "log.wrap")
        line, first, count = 0, True, 0
        for block in blocks:
            log = self._log(block, line, first, ticks)
            first &= not len(log)
            line += block.count(b"\n")
            count += 1
            self._progress(blocks.read)
            yield log
        if first:
            raise UserError(f"{self.path}: holds no access; a line is: time register value")
        if count == 1:
            self._whole = log

    def _log(self, block: bytes, above: int, first: bool, ticks: Ticks) -> Log:
        """Return the accesses of a block with so many lines above it."""
        if b"\0" in block:
            raise UserError(f"{self.path}: is not text; a line is: time register value")
        words, line = words_of(block)
        if first and len(words) and words.cell(0).lower() == "time":
            kept = line != line[0]
            words, line = words.part(kept), line[kept]

        def fault(row: int, column: int, message: str) -> UserError:
            place = above + int(line[3 * row]) + 1
            return UserError(str(Problem(self.path, place, column, "", message)))

        uneven = np.flatnonzero(~np.isin(np.bincount(line), (0, 3)))
        if len(uneven):
            parts = int((line == uneven[0]).sum())
            place = above + int(uneven[0]) + 1
            message = f"has {parts} parts; a line is: time register value"
            raise UserError(str(Problem(self.path, place, 1, "", message)))
        time, register, value = (words.part(slice(n, None, 3)) for n in range(3))
        try:
            ns = ticks.go_on(time.floats()) * self._part.unit_ns
        except OddCellError as error:
            raise fault(error.row, 1, f"'{error.shown}' is not a time") from None
        except OddTimeError as error:
            raise fault(error.at, 1, str(error)) from None
        return Log(ns, _kinds(register, fault), _words(value, fault))


Fault = Callable[[int, int, str], UserError]


def _kinds(register: Column, fault: Fault) -> NDArray[np.uint8]:
    """Return what kind of access each is of, by the register's name."""
    kind = np.zeros(len(register), np.uint8)
    new = np.flatnonzero(~register.repeats())
    for row in new.tolist():
        name = register.cell(row)
        if name not in KINDS:
            raise fault(row, 2, f"'{name[:40]}' is not a register{near(name, KINDS)}")
        kind[row] = KINDS[name]
    return kind[np.repeat(new, np.diff(new, append=len(kind)))]


def _words(column: Column, fault: Fault) -> NDArray[np.uint16]:
    """Return the value of each."""
    value, odd = column.integers()
    for row in np.flatnonzero(odd | (value > WORD)).tolist():
        cell = column.cell(row)
        try:
            word = int(cell, 0)
        except ValueError:
            word = -1
        if not 0 <= word <= WORD:
            raise fault(row, 3, f"'{cell[:40]}' is not a value of 16 bits")
        value[row] = word
    return value.astype(np.uint16)


def _spooled(path: Path) -> IO[bytes]:
    """Return a file with all that comes from a pipe; it goes with the process."""
    with ExitStack() as made:
        kept = made.enter_context(tempfile.TemporaryFile())
        try:
            with path.open("rb") as pipe:
                shutil.copyfileobj(pipe, kept)
        except OSError as error:
            raise UserError(f"{path}: cannot be read: {error.strerror}") from None
        made.pop_all()
    return kept
