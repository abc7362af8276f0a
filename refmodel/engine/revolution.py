"""One revolution of a run at a glance: how long its channel bits are, where the sync word is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refmodel.engine.timeline import Expected
from refmodel.ground.lane import Cycles, rises_of
from refmodel.ground.stimulus import Stimulus

PARTS = 180  # of a revolution, in which the length of channel bits is reported
LONGEST = 255  # % of the nominal


@dataclass(frozen=True, eq=False)
class Revolution:
    """Cycles `first` .. `end - 1` of a run, the matches in them, and the first mismatch if any.

    `length_percent` has the mean length of a channel bit in each of `PARTS`, in % of the nominal;
    0 where none came.
    """

    first: int
    end: int
    length_percent: NDArray[np.uint8]
    matches: Cycles
    wrong: Cycles


def revolution(
    stimulus: Stimulus, expected: Expected, cycles_per_bit: float, wrong: int | None
) -> Revolution:
    """Return a span of a run as a revolution."""
    first, end = stimulus.first, stimulus.end
    part = (stimulus.bit_cycle - first) * PARTS // max(1, end - first)
    count = np.bincount(part, minlength=PARTS)[:PARTS]
    nominal = (end - first) / PARTS / cycles_per_bit
    percent = np.where(count, 100 * nominal / np.maximum(count, 1), 0)
    return Revolution(
        first,
        end,
        np.minimum(np.round(percent), LONGEST).astype(np.uint8),
        rises_of(expected.lanes["sync_equal"], first, end),
        np.array([] if wrong is None else [wrong], np.int64),
    )
