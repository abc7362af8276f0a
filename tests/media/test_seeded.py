"""Seeded random bytes are the same everywhere: those of a published generator."""

import numpy as np

from refmodel.media.seeded import random_bytes


def pcg64_outputs(state, increment, count):
    """Compute outputs of the permuted congruential generator (O'Neill 2014), XSL-RR 128/64."""
    multiplier = 2549297995355413924 << 64 | 4865540595714422341
    outputs = []
    for _ in range(count):
        state = (state * multiplier + increment) % (1 << 128)
        folded, turn = (state >> 64 ^ state) % (1 << 64), state >> 122
        outputs.append((folded >> turn | folded << (64 - turn)) % (1 << 64))
    return outputs


def test_random_bytes_are_the_generators_raw_outputs():
    """Seeded bytes are the published generator's outputs, low byte first."""
    start = np.random.PCG64((3, 4)).state["state"]
    words = pcg64_outputs(start["state"], start["inc"], 5)
    expected = b"".join(word.to_bytes(8, "little") for word in words)[:37]
    assert random_bytes(37, 3, 4) == expected
