"""FST waveforms as recordings, through the library pywellen.

The library holds each signal asked for whole and packed; the others are not loaded.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from refmodel.capture.vcd_header import UNITS
from refmodel.capture.waves import FOREVER, WIDEST, Signal, SignalChanges, WavePiece
from refmodel.ground.errors import UserError

MOST_SAID = 120  # characters of what the library says
PIECE = 400_000  # changes of the busiest signal in a piece


class Fst:
    """An FST file."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.notes: Sequence[str] = ()

    @property
    def name(self) -> str:
        """The file's name as given."""
        return str(self.path)

    @cached_property
    def _wave(self) -> Any:  # noqa: ANN401 - the library has no types
        import pywellen  # type: ignore[import-untyped]

        if self.path.exists() and not self.path.is_file():
            raise UserError(f"{self.path}: an FST is read from a file only; a pipe may be a VCD")
        with _whole(self.path):
            self.path.open("rb").close()
            return pywellen.Waveform(str(self.path), multi_threaded=False)

    @cached_property
    def _vars(self) -> dict[str, Any]:
        return {_plain(var.full_name): var for var in self._wave.all_vars()}

    @cached_property
    def signals(self) -> Mapping[str, Signal]:
        """The signals by their whole name."""
        return {name: _signal(name, var) for name, var in self._vars.items()}

    def pieces(self, names: Sequence[str]) -> Iterator[WavePiece]:
        """Yield the changes of some signals, so many at a time."""
        scale = self._wave.timescale
        unit = float(scale.factor) * 10.0 ** UNITS[str(scale.unit)] if scale else 1.0
        held = {name: self._changes(name, unit) for name in names}
        busiest = max(held.values(), key=lambda c: len(c.ns))
        cuts = [*busiest.ns[PIECE::PIECE].tolist(), FOREVER]
        begin = -FOREVER
        for end in cuts:
            yield WavePiece(end, {name: _between(c, begin, end) for name, c in held.items()})
            begin = end

    def _changes(self, name: str, unit: float) -> SignalChanges:
        """Return all changes of a signal."""
        width = self.signals[name].width
        with _whole(self.path):
            pairs = list(self._vars[name].tv)
        ns = np.array([time for time, _ in pairs], np.float64) * unit
        bits = [_bits(value, width) for _, value in pairs]
        value, unknown = np.array(bits, np.uint64).reshape(-1, 2).T
        return SignalChanges(ns, value, unknown)


@contextmanager
def _whole(path: Path) -> Iterator[None]:
    """Raise UserError for what the library does not understand: it panics, also in mid-file."""
    try:
        yield
    except OSError as error:
        raise UserError(f"{path}: cannot be read: {error.strerror}") from None
    except (KeyboardInterrupt, SystemExit):
        raise
    except BaseException as error:
        said = " ".join(str(error).split())[:MOST_SAID]
        raise UserError(f"{path}: is not a whole FST file: {said}") from None


def _between(changes: SignalChanges, begin: float, end: float) -> SignalChanges:
    """Return the changes from one time up to another."""
    return changes.part(slice(*np.searchsorted(changes.ns, (begin, end))))


def _plain(name: str) -> str:
    return name.replace("\\", "")


def _signal(name: str, var: Any) -> Signal:  # noqa: ANN401
    """Return what is known of a signal before it is loaded."""
    kind = str(var.var_type).lower()
    held = "real" if "real" in kind else "event" if "event" in kind else "wire"
    return Signal(name, max(int(var.bitwidth or 1), 1), held)


def _bits(value: object, width: int) -> tuple[int, int]:
    """Return the value and the unknown bits of one of the library's values."""
    ones = (1 << min(width, WIDEST)) - 1
    if isinstance(value, int):
        return value & ones, 0
    if isinstance(value, float):
        return int(value != 0), 0
    digits = str(value).lower().replace("h", "1").replace("l", "0")
    known = "".join(c if c in "01" else "0" for c in digits) or "0"
    x_bits = "".join("0" if c in "01" else "1" for c in digits) or "1"
    return int(known, 2) & ones, int(x_bits, 2) & ones
