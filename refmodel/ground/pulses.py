"""Flux pulses as a separator sees them: the edge each is first seen at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from refmodel.ground.lane import Cycles

NO_BIT = -1  # the channel bit of a pulse that is none: an extra pulse, noise


@dataclass(frozen=True, eq=False)
class Pulses:
    """Pulses on the read-data line: the edge each is first seen at, and the channel bit it was.

    Edges are strictly increasing; `bit` is the channel bit it was written
    as, counted through all revolutions, or `NO_BIT`.
    """

    cycle: Cycles
    bit: Cycles

    def __len__(self) -> int:
        return len(self.cycle)

    def between(self, first: int, end: int) -> Pulses:
        """Return the pulses at edges `first` .. `end - 1`."""
        part = slice(*np.searchsorted(self.cycle, (first, end)))
        return Pulses(self.cycle[part], self.bit[part])

    def then(self, later: Pulses) -> Pulses:
        """Return these pulses followed by later ones."""
        return Pulses(
            np.concatenate((self.cycle, later.cycle)), np.concatenate((self.bit, later.bit))
        )


NO_PULSES = Pulses(np.empty(0, np.int64), np.empty(0, np.int64))
