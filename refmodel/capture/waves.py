"""Recorded signals as lists of changes, whatever kind of file they come from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.errors import UserError, near

Times = NDArray[np.float64]
Bits64 = NDArray[np.uint64]
WIDEST = 64  # bits of a signal that are kept, from bit 0 up
FOREVER = float("inf")
FEW = 16  # spacings of a clock that tell nothing
UNEVEN = 0.12  # of the usual spacing, by which one is off: fewer than eight samples a cycle
OFTEN = 0.05  # of the spacings are off when a clock was sampled


@dataclass(frozen=True, slots=True)
class Signal:
    """A recorded signal: its whole name, width in bits, and `wire`, `real` or `event`."""

    name: str
    width: int
    kind: str = "wire"


class SignalChanges(NamedTuple):
    """A signal's changes: times in ns, not decreasing; `unknown` has the X and Z bits."""

    ns: Times
    value: Bits64
    unknown: Bits64

    def then(self, later: SignalChanges) -> SignalChanges:
        """Return these changes and later ones."""
        return SignalChanges(
            np.concatenate((self.ns, later.ns)),
            np.concatenate((self.value, later.value)),
            np.concatenate((self.unknown, later.unknown)),
        )

    def part(self, which: slice | NDArray[np.bool_]) -> SignalChanges:
        """Return some of the changes."""
        return SignalChanges(self.ns[which], self.value[which], self.unknown[which])

    @classmethod
    def none(cls) -> SignalChanges:
        """Return no change."""
        return cls(np.empty(0), np.empty(0, np.uint64), np.empty(0, np.uint64))


@dataclass(frozen=True)
class WavePiece:
    """All changes of the signals asked for up to, but not at, the time `end_ns`.

    Pieces follow each other; a signal without a change in a piece may be missing in it. `dark` has
    stretches, from a time to a time in ns, in which nothing was recorded.
    """

    end_ns: float
    changes: Mapping[str, SignalChanges]
    dark: Sequence[tuple[float, float]] = field(default_factory=tuple)


class Recording(Protocol):
    """A file of recorded signals. `notes` say what was taken for granted in reading it."""

    @property
    def name(self) -> str:
        """What the user calls it."""

    @property
    def signals(self) -> Mapping[str, Signal]:
        """The signals by their whole name."""

    @property
    def notes(self) -> Sequence[str]:
        """What was taken for granted in reading it."""

    def pieces(self, names: Sequence[str]) -> Iterator[WavePiece]:
        """Yield the changes of some signals, in order of time; once only for a pipe."""


def uneven(apart: Times, twice: bool = False) -> tuple[float, float] | None:
    """Return the least and the most of spacings of a clock that samples have moved; None for none.

    Whole multiples are a clock that was held, but for `twice` the usual one.
    """
    if len(apart) < FEW:
        return None
    part = apart / float(np.median(apart))
    off = np.abs(part - np.rint(part)) > UNEVEN
    if twice:
        off |= np.rint(part) == 2
    near = apart[part < 2 - UNEVEN]
    return (float(near.min()), float(near.max())) if off.mean() > OFTEN else None


def find_signal(recording: Recording, name: str) -> list[str]:
    """Return the recorded signals a user means by a name: one, or the bits of a vector, high first.

    It may leave out the first scopes as long as only one fits. Raises UserError for none or
    several.
    """
    plain = name.replace("\\", "")
    if plain in recording.signals:
        return [plain]
    ends = [full for full in recording.signals if full.endswith(f".{plain}")]
    if len(ends) == 1:
        return ends
    if ends:
        raise UserError(f"'{name}': several signals are called so: {', '.join(sorted(ends)[:4])}")
    bits = _bits_of(recording, plain)
    if bits:
        return bits
    raise UserError(f"'{name}': no such signal in {recording.name}{near(plain, recording.signals)}")


def _bits_of(recording: Recording, name: str) -> list[str]:
    """Return the signals that hold a vector's bits one by one, the highest first."""
    found = {}
    for full in recording.signals:
        stem, bracket, index = full.removesuffix("]").rpartition("[")
        if bracket and index.isdecimal() and (stem == name or stem.endswith(f".{name}")):
            found[int(index)] = full
    return [found[n] for n in sorted(found, reverse=True)]
