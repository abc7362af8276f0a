"""Changes a simulator reports, turned into what was sampled at each edge of the clock.

A change at the very moment of an edge comes after it. So an input has, at edge n, the value it had
just before it; and what the core shows in cycle n is what it shows just before edge n + 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.lane import Cycles, Lane
from testbenches.checker.signals import Moment, Sample

Steps = NDArray[np.int64]


def steps(moments: Sequence[Moment]) -> Steps:
    """Return moments in steps of the simulator's time, below 0 for what was before any."""
    return np.array([upper << 32 | lower for upper, lower in moments], np.int64)


@dataclass(frozen=True)
class Sampled:
    """A signal as sampled at edges: `value` from edge to edge, and its X and Z bits.

    Both begin at the first edge of the span and count edges of the whole run.
    """

    value: Lane
    unknown: Lane

    def inverted(self, width: int) -> Sampled:
        """Return the signal with every known bit turned round."""
        cycles = np.union1d(self.value.cycle, self.unknown.cycle)
        known = ((1 << width) - 1) & ~self.unknown.at(cycles)
        turned = self.value.at(cycles) ^ known.astype(np.uint32)
        return Sampled(Lane.of(cycles, turned), self.unknown)

    def active(self, first: int, end: int) -> Cycles:
        """Return the edges of `first` .. `end - 1` at which a signal of one bit is 1 and known."""
        up = self.value.between(first, end)
        lasts = np.diff(up.cycle, append=end)[up.value == 1]
        begins = up.cycle[up.value == 1]
        into = np.arange(lasts.sum()) - np.repeat(np.cumsum(lasts) - lasts, lasts)
        return np.repeat(begins, lasts) + into

    def rises(self, first: int, end: int, before: int) -> Cycles:
        """Return the edges of `first` .. `end - 1` at which a signal of one bit becomes 1.

        It was `before` at the edge before.
        """
        up = self.value.between(first, end)
        cycles: Cycles = up.cycle[(up.value == 1) & ((up.cycle > first) | (before == 0))]
        return cycles


class SampledBits:
    """Turns binary strings into whole numbers, each different one only once."""

    def __init__(self) -> None:
        self._known: dict[str, tuple[int, int]] = {}

    def of(self, text: str) -> tuple[int, int]:
        """Return the value, 0 where a bit is X or Z, and those bits."""
        found = self._known.get(text)
        if found is None:
            found = self._known[text] = _number(text)
        return found


def sample(samples: Sequence[Sample], edges: Steps, first: int, bits: SampledBits) -> Sampled:
    """Return a signal sampled at `edges`, the moments of edges `first` and following of the run.

    `samples` begin with one from before the first edge.
    """
    at = np.searchsorted(edges, steps([moment for moment, _ in samples]), side="right")
    values, x_bits = zip(*[bits.of(text) for _, text in samples], strict=True)
    cycle = at + first
    return Sampled(*(Lane.of(cycle, np.array(part, np.int64)) for part in (values, x_bits)))


def _number(text: str) -> tuple[int, int]:
    """Return the value of a binary string, 0 where a bit is X or Z, and those bits."""
    try:
        return int(text, 2), 0
    except ValueError:
        value = int("".join("1" if bit == "1" else "0" for bit in text), 2)
        return value, int("".join("0" if bit in "01" else "1" for bit in text), 2)
