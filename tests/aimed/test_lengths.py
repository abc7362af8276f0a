"""The lengths that aimed/lengths moves would miss no bit of the counter that goes wrong."""

from itertools import product

import numpy as np

from refmodel.block.arming import LENGTH
from refmodel.world.find import find_suite

BITS = LENGTH.bit_length()


def test_a_bit_inverted_beside_another_moves_another_number_of_words():
    """Each bit, inverted while another is 0 or while it is 1, changes one of the transfers.

    A counter is one register of 14 bits that goes down by 1 with each word; the last word is the
    one that moves while it is 1.
    """
    ((_, scenario),) = find_suite("aimed/lengths")
    faults = [f for f in product(range(BITS), range(BITS), (0, 1)) if f[0] != f[1]]
    bit, beside, level = np.array(faults).T
    seen = np.zeros(len(faults), bool)
    for words in scenario.host.params["lengths"]:
        length = np.full(len(faults), words)
        ended = np.zeros(len(faults), np.int64)
        for moved in range(1, words + 1):
            shown = length ^ ((length >> beside & 1) == level) << bit
            ended[(shown == 1) & (ended == 0)] = moved
            length = shown - 1 & LENGTH
        seen |= ended != words
    assert seen.all()
