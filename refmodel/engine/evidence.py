"""Evidence: what a core or a real part showed, whoever recorded it, in the model's own form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.moves import Moves
from refmodel.ground.stimulus import Stimulus

Moved = tuple[Moves, NDArray[np.int64]]  # and the X and Z bits of each word
Words = NDArray[np.uint16]
ALL_BITS = 0xFFFFFFFF  # in a lane of undecided bits: nothing of it is decided


@dataclass(frozen=True)
class Observed:
    """Recorded lanes by name; `unknown` has their X and Z bits: a mismatch of its own kind (B14).

    `undecided` has the bits the record cannot tell: sampled too slowly, or recorded before their
    first value was known. They are neither right nor wrong. A lane that is not in it is decided.
    """

    lanes: dict[str, Lane]
    unknown: dict[str, Lane]
    undecided: Mapping[str, Lane] = field(default_factory=dict)


@dataclass(frozen=True)
class Reads:
    """Bus reads of status: at edge `cycle`, register bits `mask`, `value` as it was returned.

    `unknown` has the X and Z bits of the value, `undecided` those the record cannot tell.
    """

    cycle: Cycles
    mask: Words
    value: Words
    unknown: Words
    undecided: Words | None = None

    def since(self, cycle: int) -> Reads:
        """Return the reads from edge `cycle` on."""
        return self.part(slice(int(np.searchsorted(self.cycle, cycle)), None))

    def part(self, which: slice | Cycles) -> Reads:
        """Return some of the reads."""
        undecided = None if self.undecided is None else self.undecided[which]
        cycle, mask = self.cycle[which], self.mask[which]
        return Reads(cycle, mask, self.value[which], self.unknown[which], undecided)

    @property
    def decided(self) -> Words:
        """The register bits each read decides."""
        return self.mask if self.undecided is None else self.mask & ~self.undecided


class Evidence(Protocol):
    """A record that is read span by span, in step with the model."""

    def observed(self, first: int, end: int) -> Observed:
        """Return what was shown in cycles `first` .. `end - 1`."""

    def reads(self, stimulus: Stimulus) -> Reads:
        """Return what the stimulus's reads of status returned."""

    def moves(self, end: int) -> Moved | None:
        """Return the words moved before cycle `end` and not returned yet; None if not recorded."""
