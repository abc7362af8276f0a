"""Seeded random numbers, made from raw bits that numpy keeps the same from version to version.

Each draw has its own stream, named by its seeds: the run's, what it is for, the revolution.
"""

from __future__ import annotations

import zlib
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.errors import UserError

Floats = NDArray[np.float64]


def seed_of(seed: int, *parts: object) -> int:
    """Return the seed of a part of something: the whole's, and what the part is, mixed."""
    return zlib.crc32(":".join(map(str, (seed, *parts))).encode())


@lru_cache(16)
def random_bytes(count: int, *seed: int) -> bytes:
    """Return seeded bytes: the raw outputs of numpy's PCG64, low byte first.

    Raises UserError for a negative seed.
    """
    return _raw((count + 7) // 8, seed).astype("<u8").tobytes()[:count]


def uniform(count: int, *seed: int) -> Floats:
    """Return `count` numbers in 0 <= x < 1, each a multiple of 2^-53; UserError as above."""
    return np.asarray(_raw(count, seed) >> np.uint64(11), np.float64) * 2.0**-53


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


def _raw(count: int, seed: tuple[int, ...]) -> NDArray[np.uint64]:
    """Return raw outputs of the generator; raise UserError for a negative seed."""
    if min(seed, default=0) < 0:
        raise UserError(f"seed: {min(seed)} should be at least 0")
    return np.random.PCG64(seed).random_raw(count)
