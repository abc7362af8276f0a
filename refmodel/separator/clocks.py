"""Between the separator's own clock and the block's: edges counted in one, taken in the other.

Both clocks have an edge 0 at the same moment. A channel bit delivered at an edge of the
separator's clock reaches the block at its first edge at or after that one.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from refmodel.ground.lane import Cycles
from refmodel.ground.separated import SeparatedBits


def edge_of(cycle: int, ratio: Fraction) -> int:
    """Return the first edge, of a clock `ratio` times faster, not before the block's `cycle`."""
    return -int(-cycle * ratio.numerator // ratio.denominator)


def crossed(bits: SeparatedBits, ratio: Fraction) -> SeparatedBits:
    """Return bits of a separator whose clock is `ratio` times the block's, in the block's cycles.

    Two that meet at one of the block's edges are taken one after the other: a block takes one bit
    an edge (B2).
    """
    if ratio == 1:
        return bits
    cycle = -(-bits.cycle * ratio.denominator // ratio.numerator)
    return SeparatedBits(
        _one_an_edge(cycle), bits.bit, bits.phase, bits.period, bits.one * float(ratio)
    )


def _one_an_edge(cycle: Cycles) -> Cycles:
    """Return the cycles with those that coincide moved behind one another."""
    number = np.arange(len(cycle))
    return np.asarray(np.maximum.accumulate(cycle - number) + number, np.int64)
