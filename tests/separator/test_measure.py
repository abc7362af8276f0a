"""What counts as an error, from the windows pulses fall into."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from refmodel.block.profile import load_profile
from refmodel.margin.pattern import Condition, data_pattern, pulses_of
from refmodel.margin.statistics import rate_limits
from refmodel.margin.subject import Model
from refmodel.margin.sweep import clock_of
from refmodel.separator.choose import NAMES
from refmodel.separator.leap import run
from refmodel.separator.measure import (
    SETTLED,
    Tally,
    last_error,
    probe_failures,
    tally,
    windows_of_bits,
)


@pytest.mark.parametrize("latency", [0, 3])
@pytest.mark.parametrize("name", NAMES)
def test_the_windows_of_a_models_bits_are_the_models_windows(name, latency):
    """A core judged by its delivered bits alone gets exactly the figures of its model."""
    profile = load_profile("pal_dd")
    model = Model.of(profile, name)
    pattern = data_pattern(2000.0, 300, 1)
    trial = pulses_of(pattern, clock_of(profile), Condition(6, 300, 3000), 1)
    bits = run(model.make(), trial.cycle, int(trial.cycle[-1]) + 1)
    windows = windows_of_bits(bits.cycle + latency, trial.cycle, latency)
    assert windows.tolist() == model.windows(trial.cycle).tolist()


@pytest.mark.parametrize(
    ("offset", "expected"),
    [
        ([5] * 50, Tally(50, 0, 0)),
        ([5] * 20 + [6] + [5] * 20, Tally(41, 1, 0)),
        ([5] * 20 + [6, 4] + [5] * 20, Tally(42, 2, 0)),
        ([5] * 20 + [6] * 20, Tally(40, 1, 1)),
        ([5] * 20 + [6, 7] + [8] * 20 + [5] * 20, Tally(62, 4, 2)),
        ([5] * 3 + [6] * 20, Tally(23, 3, 0)),
        (list(range(40)), Tally(40, 40, 0)),
        ([], Tally(0, 0, 0)),
    ],
)
def test_errors_are_pulses_out_of_place_and_slips(offset, expected):
    """Whole tallies: nothing, one wrong pulse, two, a slip, several, a late lock, no lock."""
    assert tally(np.array(offset, np.int64)) == expected


@given(st.sets(st.integers(1, 39)), st.integers(-5, 5))
def test_isolated_wrong_pulses_are_counted_one_by_one(places, held):
    """However many there are, if the separator settles in between."""
    offset = np.full(41 * (SETTLED + 1), held)
    offset[[place * (SETTLED + 1) for place in places]] += 1
    assert tally(offset) == (len(offset), len(places), 0)


def test_a_rate_is_errors_per_pulse():
    """3 of 1000; and none of none."""
    assert Tally(1000, 3, 0).rate == 0.003
    assert Tally(0, 0, 0).rate == 0


def test_the_last_error_is_before_the_offset_that_stays():
    """The last pulse whose offset is not the final one."""
    assert last_error(np.array([1, 1, 2, 2, 1, 2, 2])) == 4
    assert last_error(np.array([2, 2])) == -1
    assert last_error(np.array([], np.int64)) == -1


def test_a_probe_fails_with_its_own_window_the_next_ones_or_a_slip():
    """Probes at 20, 40, 60, 80, 100: right, wrong itself, next wrong, slip, right again."""
    offset = np.zeros(130, np.int64)
    offset[40], offset[61] = 1, -1
    offset[82:] += 1
    probes = np.array([20, 40, 60, 80, 100])
    assert probe_failures(offset, probes).tolist() == [False, True, True, True, False]


@pytest.mark.parametrize(("errors", "trials"), [(0, 30_000), (1, 50), (30, 5000), (40, 40)])
def test_the_limits_of_a_rate_are_wilsons(errors, trials):
    """Equal to the score interval of scipy.stats."""
    expected = stats.binomtest(errors, trials).proportion_ci(0.95, method="wilson")
    low, high = rate_limits(errors, trials)
    assert low == pytest.approx(expected.low, abs=1e-12)
    assert high == pytest.approx(expected.high, abs=1e-12)


def test_without_a_trial_any_rate_is_possible():
    """0 of 0 says nothing."""
    assert rate_limits(0, 0) == (0.0, 1.0)


def test_a_clock_knows_how_long_a_channel_bit_is():
    """2 us at 7.09379 MHz are 14.18758 cycles, exactly."""
    clock = clock_of(load_profile("pal_dd"))
    assert clock.cycles_per_bit == Fraction(7_093_790, 500_000)
    assert clock.half_window_ns == 1000
