"""A stimulus: everything that reaches the register block in a span of cycles."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.bus import READ_STATUS, acts
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.pulses import NO_PULSES, Pulses
from refmodel.ground.separated import SeparatedBits

LEVEL_INPUTS = {  # level inputs, and their value where they are not driven
    "dma_active": 0,
    "writing": 0,
    "wait_for_sync": 0,
    "master_enable": 1,
    "channel_enable": 1,
}


def _no_cycles() -> Cycles:
    return np.empty(0, np.int64)


@dataclass(frozen=True)
class Stimulus:
    """What the block samples at edges `first` .. `first + cycles - 1`.

    Arrays are ordered by cycle. At most one channel bit and one bus cycle fall on an edge; the
    kinds of bus cycle, and what mask and value mean, are `refmodel.ground.bus`'s. Levels begin at
    or before `first`; resets lie within the span, in order and apart from each other. `memory` is
    what write transfers fetch, and the room read transfers have. `pulses` reach a core with a
    separator of its own. `separated` says why each channel bit was taken, if a separator model
    delivers them.
    """

    first: int
    cycles: int
    bit_cycle: Cycles = field(default_factory=_no_cycles)
    bit: NDArray[np.uint8] = field(default_factory=lambda: np.empty(0, np.uint8))
    access_cycle: Cycles = field(default_factory=_no_cycles)
    access_kind: NDArray[np.uint8] = field(default_factory=lambda: np.empty(0, np.uint8))
    access_mask: NDArray[np.uint16] = field(default_factory=lambda: np.empty(0, np.uint16))
    access_value: NDArray[np.uint16] = field(default_factory=lambda: np.empty(0, np.uint16))
    levels: dict[str, Lane] = field(default_factory=dict)
    resets: tuple[tuple[int, int], ...] = ()  # reset is 1 at edges start .. stop - 1
    reset_before: int = 0  # reset at edge `first - 1`
    memory: NDArray[np.uint16] = field(default_factory=lambda: np.empty(0, np.uint16))
    back: dict[str, Lane] = field(default_factory=dict)  # lines from the drive; no block sees them
    pulses: Pulses = NO_PULSES
    separated: SeparatedBits | None = None

    def __post_init__(self) -> None:
        edges = [self.first - 1, *(edge for span in self.resets for edge in span), self.end + 1]
        if any(edge >= later for edge, later in pairwise(edges)):
            raise ValueError(f"resets {self.resets} must lie apart within {self.first}..{self.end}")

    @property
    def end(self) -> int:
        """The first cycle after the span."""
        return self.first + self.cycles

    def reset_changes(self) -> Iterator[tuple[int, int]]:
        """Yield each edge of the span from which reset is another than before, and its value."""
        level = self.reset_before
        for start, stop in self.resets:
            if level and start > self.first:
                yield self.first, 0
                level = 0
            if not level:
                yield start, 1
            level = 1
            if stop < self.end:
                yield stop, 0
                level = 0
        if level and not self.resets:
            yield self.first, 0

    @property
    def reset_begins(self) -> tuple[int, ...]:
        """The edges of the span at which a reset begins."""
        return tuple(edge for edge, level in self.reset_changes() if level)

    def accesses_only(self) -> Stimulus:
        """Return the stimulus without its disk and levels: all that cannot be made again."""
        return replace(
            self,
            bit_cycle=_no_cycles(),
            bit=self.bit[:0].copy(),
            levels={},
            pulses=NO_PULSES,
            separated=None,
        )

    def with_accesses_of(self, other: Stimulus) -> Stimulus:
        """Return the stimulus with the bus cycles of another."""
        return replace(
            self,
            access_cycle=other.access_cycle,
            access_kind=other.access_kind,
            access_mask=other.access_mask,
            access_value=other.access_value,
        )

    def between(self, first: int, end: int) -> Stimulus:
        """Return the part at edges `first` .. `end - 1`, resets left out."""
        bits = slice(*np.searchsorted(self.bit_cycle, (first, end)))
        accesses = slice(*np.searchsorted(self.access_cycle, (first, end)))
        return Stimulus(
            first,
            end - first,
            self.bit_cycle[bits],
            self.bit[bits],
            self.access_cycle[accesses],
            self.access_kind[accesses],
            self.access_mask[accesses],
            self.access_value[accesses],
            self.levels,
            back=self.back,
            memory=self.memory,
            pulses=self.pulses.between(first, end),
            separated=self.separated,
        )

    def with_bits(self, cycle: Cycles, bit: NDArray[np.uint8]) -> Stimulus:
        """Return the stimulus with other channel bits."""
        return replace(self, bit_cycle=cycle, bit=bit, separated=None)

    @property
    def clearing_reads(self) -> Cycles:
        """The edges of reads of status that clear byte_ready (B5)."""
        cycles: Cycles = self.access_cycle[self.access_kind == READ_STATUS]
        return cycles

    def writes(self, kind: int) -> Iterator[tuple[int, int, int]]:
        """Yield edge, mask and value of each write of a kind that takes effect."""
        written = np.flatnonzero(self.access_kind == kind)
        columns = (self.access_cycle, self.access_mask, self.access_value)
        rows = zip(*(column[written].tolist() for column in columns), strict=True)
        return (row for row in rows if acts(kind, row[1]))

    def level(self, name: str) -> Lane:
        """Return a level input over the span."""
        lane = self.levels.get(name)
        if lane is None:
            return Lane.constant(LEVEL_INPUTS[name], self.first)
        return lane.between(self.first, self.end)
