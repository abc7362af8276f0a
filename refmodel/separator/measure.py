"""What went wrong in a trial, from the window each pulse fell into.

A pulse's offset is its window less the channel bit it was written as. It stays the same while all
is right; a pulse in a neighbouring window has another offset for itself alone, and a slip - a
channel bit too many or too few - changes it from there on.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.lane import Cycles

SETTLED = 16  # pulses in a row with one offset: the separator holds it


class Tally(NamedTuple):
    """Errors among `pulses`: pulses in a wrong window, and slips, which count once each."""

    pulses: int
    errors: int
    slips: int

    @property
    def rate(self) -> float:
        """Errors per pulse."""
        return self.errors / self.pulses if self.pulses else 0.0


def windows_of_bits(delivered: Cycles, pulses: Cycles, latency: int = 0) -> Cycles:
    """Return how many channel bits were delivered up to the edge of each pulse.

    `delivered` are the cycles of a core's channel bits, `latency` how many cycles after a pulse's
    edge a core could deliver at the earliest the bit before it. Of a model's bits, with no latency,
    this is `Followed.window`.
    """
    return np.searchsorted(delivered, pulses + latency, side="right").astype(np.int64)


def tally(offset: Cycles) -> Tally:
    """Count the errors in the offsets of a trial's pulses, in order.

    A run of `SETTLED` equal offsets is what the separator holds; pulses outside such runs are
    wrong, and a held offset other than the one before is a slip.
    """
    starts, lengths = _runs(offset)
    held = lengths >= SETTLED
    slips = int(np.count_nonzero(np.diff(offset[starts[held]])))
    return Tally(len(offset), int(lengths[~held].sum()) + slips, slips)


def first_held(offset: Cycles) -> int | None:
    """Return the index of the first pulse whose offset is held, or None."""
    starts, lengths = _runs(offset)
    held = starts[lengths >= SETTLED]
    return int(held[0]) if len(held) else None


def _runs(offset: Cycles) -> tuple[Cycles, Cycles]:
    """Return where runs of equal offsets begin, and their lengths."""
    starts = np.flatnonzero(np.diff(offset, prepend=np.iinfo(offset.dtype).min // 2))
    return starts, np.diff(starts, append=len(offset))


def last_error(offset: Cycles) -> int:
    """Return the index of the last pulse with an offset other than the final one, or -1.

    The final offset is that of the last pulse; it counts as held whatever came before.
    """
    wrong = np.flatnonzero(offset != offset[-1]) if len(offset) else offset
    return int(wrong[-1]) if len(wrong) else -1


def probe_failures(offset: Cycles, probes: Cycles) -> NDArray[np.bool_]:
    """Tell which of the moved pulses, by index, were decoded wrong or made the next ones wrong.

    Right is the offset that most of the 4 pulses before a probe have. Probes must be at least 12
    pulses apart and as far from either end.
    """
    before = _middle(offset, probes, -4)
    after = _middle(offset, probes, 5)
    wrong = (offset[probes] != before) | (offset[probes + 1] != before) | (after != before)
    return np.asarray(wrong)


def _middle(offset: Cycles, probes: Cycles, first: int) -> Cycles:
    """Return the lower median of the 4 offsets from `first` pulses beside each probe on."""
    around = offset[probes[:, None] + np.arange(first, first + 4)]
    return np.asarray(np.sort(around, axis=1)[:, 1])
