"""Write precompensation, against the physics of neighbouring pulses and the published rule."""

from itertools import product

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from refmodel.block.precompensation import amount, direction
from refmodel.media.mfm import encode

CELL = 2000.0  # ns, one channel bit
CONTEXTS = list(product((0, 1), repeat=4))  # data bits: two before, the current one, one after

# Control Data application note 77653447 (1983), seen quoted: data bits, which transition, how.
PUBLISHED = {"011": "late", "110": "early", "1000": "late", "0001": "early"}


def middle(data):
    """Return the channel bits around the transition of the third data bit of four, and its place.

    It is the data bit itself or, between two zeros, the clock before the third bit.
    """
    raw = encode(np.packbits([0, *data, 0, 0, 0]).tobytes())[:10].tolist()
    at = 7 if data[2] else 6  # data bit n of `data` is channel bit 2 * n + 3
    return raw, at


def pattern_of(raw, at):
    """Return the five channel bits around one as a number."""
    return int("".join(map(str, raw[at - 2 : at + 3])), 2)


def read_shift(raw, at, pw50):
    """Return by how many ns the peak of one transition moves when its neighbours' are added.

    Each transition gives a Lorentzian pulse of width `pw50` at half height, of alternating sign.
    Beyond the bits given, the next transition is taken to be 4 channel bits away.
    """
    ones = [n for n, bit in enumerate(raw) if bit]
    left = max((n for n in ones if n < at), default=at - 4)
    right = min((n for n in ones if n > at), default=at + 4)
    places = [(left - 4, 1), (left, -1), (at, 1), (right, -1), (right + 4, 1)]

    def negative(time):
        pulses = (s / (1 + (2 * (time - n * CELL) / pw50) ** 2) for n, s in places)
        return -sum(pulses)

    near = (at * CELL - 400, at * CELL + 400)
    return minimize_scalar(negative, bounds=near, method="bounded").x - at * CELL


@pytest.mark.parametrize("pw50", [2000, 3000, 4000])
@pytest.mark.parametrize("data", CONTEXTS, ids=lambda d: "".join(map(str, d)))
def test_sign_is_against_the_shift(data, pw50):
    """In all 16 contexts a bit is written late if it would be read early, and the reverse.

    Source: superposition of pulses, computed here; spacings of 3 and 4 are left alone (the rule
    sees two bits to each side).
    """
    raw, at = middle(data)
    if not raw[at]:
        assert direction(pattern_of(raw, at)) == 0
        return
    spacings = pattern_of(raw, at) & 0b10001
    shift = read_shift(raw, at, pw50)
    expected = -np.sign(round(shift)) if spacings in (0b10000, 0b00001) else 0
    assert direction(pattern_of(raw, at)) == expected


@pytest.mark.parametrize("data", CONTEXTS, ids=lambda d: "".join(map(str, d)))
def test_published_table(data):
    """In all 16 contexts the direction is that of the published table, by data bits."""
    raw, at = middle(data)
    text = "".join(map(str, data))
    named = PUBLISHED.get(text) or PUBLISHED.get(text[1:])
    expected = {"late": 1, "early": -1, None: 0}[named]
    assert (direction(pattern_of(raw, at)) if raw[at] else 0) == expected


def test_pattern_rule_in_raw_form():
    """Of all 32 five-bit patterns 00101 is late, 10100 early, and no other is either."""
    found = {f"{p:05b}": direction(p) for p in range(32) if direction(p)}
    assert found == {"00101": 1, "10100": -1}


def test_amounts():
    """control.precompensation 0 to 3 selects 0, 1, 2 and 4 cycles."""
    assert [amount(select) for select in range(4)] == [0, 1, 2, 4]
