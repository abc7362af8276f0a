"""Seeded random numbers of the flux defects, made from raw bits that numpy keeps the same.

Each draw has its own stream, named by its seed: the run's, the kind of defect, the revolution.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from refmodel.errors import UserError

Floats = NDArray[np.float64]


def uniform(count: int, *seed: int) -> Floats:
    """Return `count` numbers in 0 <= x < 1, each a multiple of 2^-53."""
    if min(seed) < 0:
        raise UserError(f"seed: {min(seed)} is below 0")
    raw = np.random.PCG64(seed).random_raw(count)
    return np.asarray(raw >> np.uint64(11), np.float64) * 2.0**-53


def gaussian(count: int, *seed: int) -> Floats:
    """Return `count` numbers of a Gaussian distribution: mean 0, sigma 1.

    Box and Muller's transform of two uniform numbers into two Gaussian ones (from memory).
    """
    pairs = (count + 1) // 2
    draws = uniform(2 * pairs, *seed)
    radius = np.sqrt(-2.0 * np.log1p(-draws[:pairs]))
    angle = 2.0 * np.pi * draws[pairs:]
    return np.concatenate((radius * np.cos(angle), radius * np.sin(angle)))[:count]


def exponential(count: int, *seed: int) -> Floats:
    """Return `count` numbers of an exponential distribution of mean 1."""
    return -np.log1p(-uniform(count, *seed))
