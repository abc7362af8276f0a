"""The re-phasing separator, against its closed form."""

from fractions import Fraction

import numpy as np
import pytest
from scipy import stats

from refmodel.separator.leap import follow
from refmodel.separator.rephase import Rephase

CYCLES = Fraction(2000)  # one a nanosecond
LONGEST_GAP = 4  # channel bits


def decoded(gap_ns):
    """Return how many channel bits the separator makes of a gap between two pulses."""
    first = 5000
    window = follow(Rephase(CYCLES), np.array([first, first + gap_ns])).window
    return window[1] - window[0]


@pytest.mark.parametrize(
    ("percent", "margin"),
    # 1 us x (1 - 8 d): arithmetic on the longest gap of 4 channel bits of 2 us.
    [(0, 1000), (1.5, 880), (3, 760), (6, 520), (12.5, 0)],
)
@pytest.mark.parametrize("side", [-1, 1])
def test_the_margin_is_1_us_less_8_d(percent, margin, side):
    """A pulse shifted against the speed error is right up to the margin and wrong beyond it."""
    gap = round(LONGEST_GAP * 2000 * (1 + side * percent / 100))
    largest = max((x for x in range(1100) if decoded(gap + side * x) == LONGEST_GAP), default=-1)
    assert largest == pytest.approx(margin, abs=1)


@pytest.mark.parametrize("sigma", [200, 250, 300])
def test_gaussian_jitter_makes_a_gap_wrong_as_often_as_the_tail_says(sigma):
    """A gap has the jitter of both its ends: P = 2 norm.sf(1 us / (sigma sqrt 2))."""
    count = 400_000
    jitter = np.random.default_rng(sigma).normal(0, sigma, count)
    pulses = np.rint(np.arange(1, count + 1) * 6000 + jitter).astype(np.int64)
    gaps = np.diff(follow(Rephase(CYCLES), pulses).window)
    expected = 2 * stats.norm.sf(1000 / (sigma * np.sqrt(2)))
    wrong = np.count_nonzero(gaps != 3)
    # Neighbouring gaps share a pulse: twice the variance of independent ones at most.
    assert wrong == pytest.approx(count * expected, abs=4 * np.sqrt(2 * count * expected))


def test_a_pulse_becomes_the_centre_of_its_window():
    """From the pulse's edge on the phase is 0, whatever it was; the period never changes."""
    separator = Rephase(CYCLES)
    followed = follow(separator, np.array([700, 5000, 5400, 13_000]))
    assert separator.phase == 0
    assert set(followed.period.tolist()) == {2000 * 16}
    assert followed.phase.tolist()[1:] == [300 * 16, 400 * 16, -400 * 16]
