"""What a trial is counted in, and how sure a counted rate is."""

from fractions import Fraction

import pytest
from scipy import stats

from refmodel.margin.statistics import rate_limits
from refmodel.margin.sweep import clock_of
from refmodel.profile import load_profile


def test_a_clock_knows_how_long_a_channel_bit_is():
    """A channel bit of 2 us at 7.09379 MHz is 14.18758 cycles, exactly."""
    clock = clock_of(load_profile("pal_dd"))
    assert clock.cycles_per_bit == Fraction(7_093_790, 500_000)
    assert clock.half_window_ns == 1000


@pytest.mark.parametrize(("errors", "trials"), [(0, 30_000), (1, 50), (30, 5000), (40, 40)])
def test_the_limits_of_a_rate_are_wilsons(errors, trials):
    """The limits are those of the score interval of scipy.stats."""
    expected = stats.binomtest(errors, trials).proportion_ci(0.95, method="wilson")
    low, high = rate_limits(errors, trials)
    assert low == pytest.approx(expected.low, abs=1e-12)
    assert high == pytest.approx(expected.high, abs=1e-12)


def test_without_a_trial_any_rate_is_possible():
    """None of no trials says nothing of the rate."""
    assert rate_limits(0, 0) == (0.0, 1.0)
