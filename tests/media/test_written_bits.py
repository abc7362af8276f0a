"""How long the bits of a burst are is told from its pulses, wherever a core puts them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refmodel.media.writing import Burst

NOMINAL = 14


@pytest.mark.parametrize(
    ("apart", "cycles"),
    [
        ([28, 42, 56], 14),  # two, three and four bits of nominal length
        ([56, 84, 112], 28),  # slow bits
        ([], 14),
        ([98], 14),  # far apart and none near
        ([1], 14),  # closer than any bit is long
    ],
)
def test_length_is_told_by_near_pulses(apart, cycles):
    """Pulses two to four bits apart tell; without any the length is nominal."""
    pulses = np.cumsum([100, *apart])
    assert cycles == Burst(0, 1000, pulses).bit_cycles(NOMINAL)


@given(st.lists(st.integers(1, 200), max_size=12), st.integers(1, 40))
def test_any_pulses_give_a_length(apart, nominal):
    """A core that writes nonsense is still given a length that bits can have."""
    assert Burst(0, 5000, np.cumsum([9, *apart])).bit_cycles(nominal) >= 1
