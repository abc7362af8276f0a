"""When each channel bit arrives: exact at any fractional rate, over any number of revolutions.

Channel bits are counted through: bit k of revolution r of a track has index r * len(track) + k.
"""

from __future__ import annotations

from fractions import Fraction
from math import lcm
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.errors import UserError
from refmodel.media.mfm import Bits
from refmodel.media.track import Track


def strobe_cycles(
    first: int,
    count: int,
    cycles_per_bit: Fraction,
    start: int = 0,
    origin: Fraction = Fraction(0),
) -> NDArray[np.int64]:
    """Return the cycles in which channel bits `first` .. `first + count - 1` arrive.

    Bit i ends, and so arrives, in cycle start + floor(origin + (i + 1) * cycles_per_bit): strictly
    increasing, and without drift, as each is computed from the start in whole numbers.
    Raises UserError for less than one cycle a bit (B2: one channel bit a cycle).
    """
    if cycles_per_bit < 1:
        raise UserError(f"a channel bit takes {cycles_per_bit} of a cycle; it must take 1 or more")
    denominator = lcm(cycles_per_bit.denominator, origin.denominator)
    numerator = int(cycles_per_bit * denominator)
    arrival, early = divmod(int(origin * denominator) + (first + 1) * numerator, denominator)
    whole, rest = divmod(numerator, denominator)
    # int64 holds early + bit * rest below this; beyond it Python's integers are exact too.
    fits = (count + 1) * denominator < 1 << 63
    bit: NDArray[Any] = np.arange(count, dtype=np.int64 if fits else object)
    cycles: NDArray[Any] = start + arrival + bit * whole + (early + bit * rest) // denominator
    return cycles.astype(np.int64)


def bits_of_revolutions(track: Track, first: int, count: int) -> Bits:
    """Return channel bits `first` .. `first + count - 1` of a track that turns on and on."""
    offset = first % len(track)
    return np.resize(track.bits, offset + count)[offset:]
