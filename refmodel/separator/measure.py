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


ENOUGH = 2  # held stretches, with something between them
ROOM = 1.25  # channel bits: pulses so far apart are in windows of their own
EARLY, LATE = 1, 16  # channel bits by which a core's bits may be late, or its latency said too long


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


def wrong_bits(
    values: NDArray[np.uint8], window: Cycles, offset: Cycles, extra: Cycles
) -> tuple[int, int]:
    """Count the delivered channel bits of a wrong value: a 1 without a pulse, a pulse without a 1.

    Also return by how many bits the core delivers the bits of all windows late.

    `values` are all bits delivered, `window` and `offset` those of the pulses that were written,
    and `extra` the windows of other pulses, whose bits may be either. Only stretches in which the
    offset is held count. A core may deliver the bits of all windows the same number of bits late.
    """
    starts, lengths = _runs(offset)
    held = lengths >= SETTLED
    spans = [
        window[start : start + length]
        for start, length in zip(starts[held].tolist(), lengths[held].tolist(), strict=True)
    ]
    if not spans:
        return 0, 0
    at = np.concatenate([np.arange(span[0], span[-1] + 1) for span in spans])
    at = np.unique(at[~np.isin(at, (extra[:, None] + np.arange(-1, 2)).ravel())])
    wanted = np.isin(at, np.concatenate(spans))
    lates = sorted(range(-EARLY, LATE + 1), key=abs)
    return min(((_differing(values, at + late, wanted), late) for late in lates), key=_count)


def _count(found: tuple[int, int]) -> int:
    return found[0]


def ones_of_moved(
    values: NDArray[np.uint8],
    late: int,
    cycle: Cycles,
    window: Cycles,
    offset: Cycles,
    extra: Cycles,
) -> tuple[int, int]:
    """Count pulses without a 1, and ones more than pulses, where a pulse or a few are moved.

    That is between two stretches whose offset is held, `SETTLED` pulses apart at most. Whatever
    window a moved pulse falls into, it is one 1: there are as many ones as pulses, unless two of
    them share a window or another pulse is among them. Such places do not count.
    """
    starts, lengths = _runs(offset)
    held = np.flatnonzero(lengths >= SETTLED)
    if len(held) < ENOUGH:
        return 0, 0
    ends = starts[held] + lengths[held] - 1
    bit = (cycle[-1] - cycle[0]) / max(int(window[-1] - window[0]), 1)
    close = np.append(np.diff(cycle) < ROOM * bit, False)
    lost = more = 0
    for a, b in zip(ends[:-1].tolist(), starts[held][1:].tolist(), strict=True):
        first, last = int(window[a]), int(window[b])
        strange = ((extra >= first - 1) & (extra <= last + 1)).any()
        if strange or close[a:b].any() or b - a > SETTLED or first + late < 0:
            continue
        ones = int(values[first + late + 1 : last + late + 1].sum())
        lost += max(b - a - ones, 0)
        more += max(ones - (b - a), 0)
    return lost, more


def _differing(values: NDArray[np.uint8], at: Cycles, wanted: NDArray[np.bool_]) -> int:
    """Return how many of the bits at these places are not what they should be."""
    inside = (at >= 0) & (at < len(values))
    return int(np.count_nonzero(values[at[inside]] != wanted[inside]))


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
