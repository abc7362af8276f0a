"""A log of register accesses: lines of time, register and value, as a small program writes them.

    # microseconds, from the index
    103.5  sync_word  0x4489
    140.2  status     0x8044

A read of `status` has what it returned; the other registers have what was written. Commas do as
well as blanks. Nothing in a log tells the cycle of an access: it lies within a tolerance.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field as Key
from pydantic import field_validator

from refmodel.capture.map_parts import BeginPart
from refmodel.capture.vcd_header import UNITS
from refmodel.capture.waves import Times
from refmodel.ground.bus import READ_STATUS, WRITE_KINDS
from refmodel.ground.errors import Problem, UserError, near
from refmodel.ground.word import WORD
from refmodel.ground.yamlfile import Schema
from refmodel.media.flux_list import rate_of, unwrapped

STATUS = "status"
LARGEST = 1 << 28  # bytes of a log


class LogPart(Schema):
    """How a log is read: the unit of its times or the rate of its ticks, and what they lack.

    `offset_us` is when its time 0 was in the flux, `auto` to find it; `drift_ppm` how much faster
    its clock runs than that of the flux. An access lies within `tolerance_us` of its time.
    """

    unit: str = "us"
    rate: Fraction | None = None
    wrap: float | None = None
    offset_us: float | Literal["auto"] = "auto"
    drift_ppm: float = Key(0.0, ge=-100_000, le=100_000)
    tolerance_us: float = Key(1.0, gt=0, le=1000)

    @field_validator("rate", mode="before")
    @classmethod
    def _exact_rate(cls, value: object) -> Fraction | None:
        return None if value is None else rate_of(str(value), "rate")


class TrackPart(Schema):
    """The disk the log was made with: captured flux."""

    file: str
    rate: Fraction | None = None

    @field_validator("rate", mode="before")
    @classmethod
    def _exact_rate(cls, value: object) -> Fraction | None:
        return None if value is None else rate_of(str(value), "rate")


class LogMap(Schema):
    """A map for a log: the flux it belongs to, and levels that were held while it was made."""

    profile: str = "pal_dd"
    policies: dict[str, str] = Key({})
    log: LogPart
    track: TrackPart
    begin: BeginPart = BeginPart()
    wait_for_sync: Literal[0, 1] = 0


@dataclass(frozen=True)
class Log:
    """Accesses in order of time: ns, kind of bus cycle, and the value read or written."""

    ns: Times
    kind: NDArray[np.uint8]
    value: NDArray[np.uint16]

    @property
    def reads(self) -> NDArray[np.bool_]:
        """Which of them read status."""
        return np.asarray(self.kind == READ_STATUS)


def read_log(path: Path, part: LogPart) -> Log:
    """Return the accesses of a log; raise UserError, naming the line, for what is none."""
    try:
        if path.is_file() and path.stat().st_size > LARGEST:
            raise UserError(f"{path}: is larger than {LARGEST >> 20} MiB; cut it into pieces")
        text = path.read_bytes().decode()
    except OSError as error:
        raise UserError(f"{path}: cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise UserError(f"{path}: is no text") from None
    rows: list[tuple[int, tuple[float, int, int]]] = []
    for number, line in enumerate(text.splitlines(), 1):
        words = line.partition("#")[0].replace(",", " ").split()
        if words and not (not rows and words[0].lower() == "time"):
            rows.append((number, _row(path, number, words)))
    if not rows:
        raise UserError(f"{path}: holds no access; a line is: time register value")
    ticks = unwrapped(np.array([row[0] for _, row in rows]), part.wrap)
    back = np.flatnonzero(np.diff(ticks) < 0)
    if len(back):
        at = rows[int(back[0]) + 1][0]
        message = "this time comes before the one above it; if a counter wrapped, log.wrap says at"
        raise UserError(str(Problem(path, at, 1, "", f"{message} how much")))
    return Log(
        ticks * _unit_ns(part),
        np.array([row[1] for _, row in rows], np.uint8),
        np.array([row[2] for _, row in rows], np.uint16),
    )


def _unit_ns(part: LogPart) -> float:
    if part.rate is not None:
        return float(1_000_000_000 / part.rate)
    if part.unit not in UNITS:
        raise UserError(f"log.unit '{part.unit}' is no unit{near(part.unit, UNITS)}")
    return float(10.0 ** UNITS[part.unit])


def _row(path: Path, line: int, words: list[str]) -> tuple[float, int, int]:
    """Return time, kind and value of a line."""

    def fault(column: int, message: str) -> UserError:
        return UserError(str(Problem(path, line, column, "", message)))

    if len(words) != 3:
        raise fault(1, f"has {len(words)} parts; a line is: time register value")
    time, register, value = words
    kinds = {STATUS: int(READ_STATUS), **{n: int(k) for n, k in WRITE_KINDS.items()}}
    if register not in kinds:
        raise fault(2, f"'{register[:40]}' is no register{near(register, kinds)}")
    try:
        at = float(time)
    except ValueError:
        raise fault(1, f"'{time[:40]}' is no time") from None
    try:
        word = int(value, 0)
    except ValueError:
        word = -1
    if not (0 <= word <= WORD and np.isfinite(at)):
        raise fault(3, f"'{value[:40]}' is no value of 16 bits")
    return at, kinds[register], word
