"""The lengths that aimed/lengths moves would miss no bit of the counter that goes wrong."""

from itertools import cycle, pairwise, product

import numpy as np
import pytest

from refmodel.block.arming import LENGTH
from refmodel.world.find import find_suite

BITS = LENGTH.bit_length()
FAULTS = np.array([f for f in product(range(BITS), range(BITS), (0, 1)) if f[0] != f[1]])


def inverted(length):
    """Return the counter of each fault: a bit is inverted while the one beside it has a level."""
    bit, beside, level = FAULTS.T
    return length ^ ((length >> beside & 1) == level) << bit


def words_moved(words, inverts, before):
    """Return how many words each faulty counter lets through, 0 for too many.

    A counter is one register of 14 bits that goes down by 1 with each word, and the last word is
    the one that moves while it is 1. `inverts` says behind which words the fault acts.
    """
    length = np.full(len(FAULTS), words)
    length = inverted(length) if before else length
    moved = np.zeros(len(FAULTS), np.int64)
    acts = cycle(inverts)
    for n in range(1, words + 1):
        moved[(length == 1) & (moved == 0)] = n
        length = length - 1 & LENGTH
        length = inverted(length) if next(acts) else length
    return moved


@pytest.mark.parametrize(("in_each_cycle", "before"), [(False, 1), (True, 0), (True, 1)])
def test_a_bit_inverted_beside_another_moves_another_number_of_words(in_each_cycle, before):
    """Each bit, inverted while another is 0 or while it is 1, changes one of the transfers.

    What is inverted behind the register acts with each word; what is inverted on its way into a
    register that takes its own value acts in each cycle, so in each odd number of them.
    """
    ((_, scenario),) = find_suite("aimed/lengths")
    line = scenario.slots
    gaps = [b - a for a, b in pairwise((*line.at, line.at[0] + line.line_cycles))]
    inverts = [gap % 2 for gap in gaps] if in_each_cycle else [1]
    seen = [words_moved(n, inverts, before) != n for n in scenario.host.params["lengths"]]
    assert np.logical_or.reduce(seen).all()
