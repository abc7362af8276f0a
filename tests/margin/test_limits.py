"""The limits the margin tool finds, against closed forms and the normal distribution."""

from fractions import Fraction

import numpy as np
import pytest
from scipy import signal, stats

from refmodel.margin.curves import bathtub, lock_trace
from refmodel.margin.limits import (
    dropout_ns,
    dynamic_margin,
    jitter_tolerance,
    largest,
    lock_ns,
    relock_ns,
    speed_tolerance,
    window_margin,
)
from refmodel.margin.pattern import Condition
from refmodel.margin.subject import Model
from refmodel.margin.sweep import clock_of
from refmodel.profile import load_profile
from refmodel.separator.choose import NAMES

STEP_NS = 1250 / 2**9  # what a window margin is found to


def fast_by(period_error):
    """Return the speed error, in percent, that makes a channel bit longer by that part."""
    return 100 * (1 / (1 + period_error) - 1)


@pytest.mark.parametrize(
    ("percent", "margin"),
    # 1 us x (1 - 8 d) for a speed error d and the longest gap, 4 channel bits: arithmetic.
    [(0, 1000), (1.5, 880), (-1.5, 880), (3, 760), (-3, 760), (6, 520), (-6, 520)],
)
def test_the_margin_of_rephase_is_1_us_less_8_d(percent, margin, fine_clock, fine_model):
    """The margin is 880 ns at 1.5 %, 760 at 3 %, 520 at 6 %."""
    condition = Condition(fast_by(percent / 100))
    found = window_margin(fine_model("rephase"), fine_clock, 1, condition)
    assert found.least_ns == pytest.approx(margin, abs=STEP_NS + 2)


def test_rephase_has_no_margin_left_at_12_5_percent(fine_clock, fine_model):
    """At 12 % there are 40 ns left, at 13 %, past the zero, not even unshifted data is right."""
    at = {
        percent: window_margin(
            fine_model("rephase"), fine_clock, 1, Condition(fast_by(percent / 100))
        ).least_ns
        for percent in (12, 12.4, 13)
    }
    assert at[12] == pytest.approx(40, abs=STEP_NS + 2)
    assert at[12.4] == pytest.approx(8, abs=STEP_NS + 2)
    assert at[13] is None


@pytest.mark.parametrize(
    ("percent", "margin"), [(0, 1000), (1.5, 880), (-1.5, 880), (3, 760), (-3, 760), (6, 520)]
)
def test_at_a_real_clock_rephase_loses_a_cycle_at_most(percent, margin):
    """At 7.09379 MHz the closed form holds within one cycle of 141 ns and the period's rounding."""
    profile = load_profile("pal_dd")
    condition = Condition(fast_by(percent / 100))
    found = window_margin(Model.of(profile, "rephase"), clock_of(profile), 1, condition)
    assert found.least_ns == pytest.approx(margin, abs=float(profile.cycle_ns) + STEP_NS)


@pytest.mark.parametrize("megahertz", [14, 28, 50])
@pytest.mark.parametrize("percent", [0, 1.5, -1.5, 3, -3, 6, -6])
def test_on_a_clock_of_its_own_rephase_comes_within_a_cycle(megahertz, percent):
    """With its own clock the separator has 1 us x (1 - 8 d) but for a cycle of it, and 15 ns.

    A pulse is seen up to a cycle late, so that no separator on that clock can promise more.
    """
    profile = with_separator_clock(megahertz)
    condition = Condition(fast_by(percent / 100))
    found = window_margin(Model.of(profile, "rephase"), clock_of(profile), 1, condition).least_ns
    closed = 1000 * (1 - 8 * abs(percent) / 100)
    assert closed - 1000 / megahertz - 15 <= found <= closed + 15


def with_separator_clock(megahertz):
    """Return pal_dd with a separator on a clock of its own."""
    pal = load_profile("pal_dd")
    part = pal.separator.model_copy(update={"clock_hz": Fraction(megahertz * 1_000_000)})
    return pal.model_copy(update={"separator": part})


@pytest.mark.parametrize("percent", [0, 1.5, -1.5, 3, -3])
def test_the_dynamic_margin_of_rephase_is_half_its_static_one(percent, fine_clock, fine_model):
    """Each pulse is held against the one before, and both may be off: 0.5 us x (1 - 8 d).

    Arithmetic; of 14 000 pulses two neighbours off by the most, 4 channel bits apart, are rare: the
    largest found is up to a tenth above.
    """
    condition = Condition(fast_by(percent / 100))
    found = dynamic_margin(fine_model("rephase"), fine_clock, 1, condition).shift_ns
    closed = 500 * (1 - 8 * abs(percent) / 100)
    assert closed - STEP_NS <= found <= 1.1 * closed


def test_the_dynamic_margin_of_a_fixed_grid_is_its_static_one(fine_clock, grid):
    """A grid that no pulse moves takes each pulse by itself: half a channel bit."""
    found = dynamic_margin(grid, fine_clock, 1, Condition())
    assert found.shift_ns == pytest.approx(1000, abs=STEP_NS + 1)


def test_the_loop_stands_between_the_two(fine_clock, fine_model):
    """At 3 % the loop has more than the 380 ns of rephase, and less than the 1000 of a fixed grid.

    A part of each error moves its phase, so it follows jitter less than rephase does.
    """
    found = dynamic_margin(fine_model("second_order"), fine_clock, 1, Condition(3.0))
    assert 1.2 * 380 < found.shift_ns < 1000


def test_rephase_tolerates_12_5_percent_of_speed(fine_clock, fine_model):
    """+14.3 % and -11.1 % of speed make channel bits 12.5 % shorter and longer."""
    model = fine_model("rephase")
    fast, slow = (speed_tolerance(model, fine_clock, 1, s, Condition()) for s in (1, -1))
    assert fast == pytest.approx(100 * (1 / 0.875 - 1), abs=0.15)
    assert slow == pytest.approx(100 * (1 - 1 / 1.125), abs=0.15)


def test_a_fixed_grid_has_the_ideal_margin(fine_clock, grid):
    """A fixed grid has half a channel bit each way: no separator can do better."""
    found = window_margin(grid, fine_clock, 1, Condition())
    assert found.early_ns == pytest.approx(1000, abs=STEP_NS + 1)
    assert found.late_ns == pytest.approx(1000, abs=STEP_NS + 1)
    assert abs(found.bias_ns) < STEP_NS


def test_a_grid_out_of_phase_shows_it_as_phase_error(fine_clock, grid):
    """Pulses lie 200 ns late in windows that are 200 ns early, and have 800 ns left."""
    shifted = type(grid)(phase=grid.phase - 0.1)
    found = window_margin(shifted, fine_clock, 1, Condition())
    assert found.bias_ns == pytest.approx(200, abs=STEP_NS + 1)
    assert found.least_ns == pytest.approx(800, abs=STEP_NS + 1)


def test_the_jitter_a_fixed_grid_takes_is_the_normal_distributions(fine_clock, grid):
    """Jitter of 1 us / norm.isf(0.0005) = 304 ns makes one error in a thousand."""
    expected = 1000 / stats.norm.isf(0.0005)
    assert jitter_tolerance(grid, fine_clock, 1) == pytest.approx(expected, rel=0.04)


def test_the_bathtub_of_a_fixed_grid_is_the_normal_distributions(fine_clock, grid):
    """At each shift x the rate is sf((1 us - x) / sigma) + sf((1 us + x) / sigma).

    Within five-sigma limits of the binomial count.
    """
    tub = bathtub(grid, fine_clock, 1, 150.0, 21)
    x = np.array(tub.shift_ns)
    rate = stats.norm.sf((1000 - x) / 150) + stats.norm.sf((1000 + x) / 150)
    low, high = stats.binom.interval(1 - 6e-7, tub.probes, np.minimum(rate, 1))
    failures = np.array(tub.failures)
    assert ((low <= failures) & (failures <= high)).all()
    assert failures[0] > 0.9 * tub.probes
    assert failures[10] == 0


@pytest.mark.parametrize("speed", [2.0, -2.0])
def test_a_loop_without_its_integral_part_is_told_apart(speed, fine_clock, loop):
    """At 2 % its phase error is over 300 ns, and the margin a third; a whole loop has neither.

    Static error: the drift of a gap of 2 to 4 channel bits of 2 us at 2 %, over kp 1/4: 320 ns
    for the shortest, 640 for the longest (Gardner's type-1 loop).
    """
    whole = window_margin(loop(1 / 4, 1 / 32), fine_clock, 1, Condition(speed))
    without = window_margin(loop(1 / 4, 0), fine_clock, 1, Condition(speed))
    assert abs(whole.bias_ns) < 20
    assert whole.least_ns > 900
    assert 300 < -np.sign(speed) * without.bias_ns < 640
    assert without.least_ns < 600


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("profile_name", ["pal_dd", "ntsc_dd", "round_hd"])
def test_models_lock_within_a_preamble_of_12_bytes(profile_name, name):
    """At 3 % either way, behind a gap at the opposite error, a model locks within 96 zeros."""
    profile = load_profile(profile_name)
    locked = lock_ns(Model.of(profile, name), clock_of(profile), 1, 3.0)
    assert locked is not None
    assert locked <= 96 * 2 * profile.channel_bit_ns


def zeros_to_lock(kp, ki, speed_step):
    """Return after how many zeros a linear loop's error stays within a quarter bit, by scipy.

    A speed step of that part and a jump of any eighth of a channel bit, either way.
    """
    loop = signal.dlti([1, -2, 1], [1, -(2 - kp - ki), 1 - kp], dt=1)
    ramp = 2 * speed_step * np.arange(200.0)
    errors = [
        signal.dlsim(loop, jump + side * ramp)[1][:, 0]
        for jump in np.arange(-4, 4) / 8
        for side in (-1, 1)
    ]
    return max(int(n) for error in errors for n in np.flatnonzero(np.abs(error) > 0.25)) + 1


@pytest.mark.parametrize(
    ("kp", "ki", "percent"),
    [
        (1 / 4, 1 / 32, 2),
        (1 / 4, 1 / 32, 3),
        (1 / 8, 1 / 128, 1),
        (1 / 8, 1 / 128, 2),
        (1 / 16, 1 / 512, 0.5),
        (1 / 16, 1 / 512, 1),
    ],
)
def test_a_loop_locks_when_its_error_is_within_a_quarter_bit(kp, ki, percent, fine_clock, loop):
    """The preamble found is the one scipy's response asks for, within three zeros.

    The margin tool wants a transition shifted by a quarter bit to be right behind it: half the
    window less half of it for the loop's own error. (A step of speed that drives the error out of
    the window is no longer linear, and takes longer.)
    """
    expected = zeros_to_lock(kp, ki, 2 * percent / 100)
    assert lock_ns(loop(kp, ki), fine_clock, 1, percent) / 4000 == pytest.approx(expected, abs=3)


def test_a_narrow_loop_needs_a_longer_preamble(fine_clock, loop):
    """A loop of a quarter of the gain, and so of the bandwidth, takes more than twice as long."""
    quick, slow = (
        lock_ns(loop(kp, ki), fine_clock, 1, 3.0) for kp, ki in ((1 / 4, 1 / 32), (1 / 16, 1 / 512))
    )
    assert 0 < 2 * quick < slow


def test_a_loop_that_cannot_reach_the_speed_never_locks(fine_clock, loop):
    """With a lock range of 0.5 % and little gain, no preamble is long enough at 3 %."""
    stuck = loop(1 / 16, 1 / 512, 0.5)
    assert lock_ns(stuck, fine_clock, 1, 3.0) is None
    assert relock_ns(stuck, fine_clock, 1, 3.0) is None
    assert dropout_ns(stuck, fine_clock, 1, 3.0) is None
    assert window_margin(stuck, fine_clock, 1, Condition(3.0)).least_ns is None


def test_rephase_loses_count_over_a_gap_of_16_bits_at_3_percent(fine_clock, fine_model):
    """3 % of 16.7 bits are half a window; the gap is up to 4 bits longer than the dropout."""
    found = dropout_ns(fine_model("rephase"), fine_clock, 1, 3.0)
    assert 11 <= found / 2000 <= 16


def test_a_loop_that_knows_the_speed_counts_through_a_longer_gap(fine_clock, fine_model):
    """A loop that holds the period it has learnt counts ten times as far as one without."""
    assert dropout_ns(fine_model("second_order"), fine_clock, 1, 3.0) > 10 * 16 * 2000


@pytest.mark.parametrize("name", NAMES)
def test_models_lock_again_after_a_gap_with_noise(name):
    """A model locks again within the 384 us of a preamble, at 3 % either way."""
    profile = load_profile("pal_dd")
    assert relock_ns(Model.of(profile, name), clock_of(profile), 1, 3.0) <= 384_000


def test_the_gap_to_lock_again_after_is_silent_and_then_noisy(fine_clock, grid):
    """Every trial has some 30 us without a pulse, then noise: never a whole silent gap of 1 ms."""
    silences = []

    class Spy(type(grid)):
        def windows(self, pulses):
            silences.append(np.diff(pulses)[100:].max())  # behind the first, the gap's own
            return super().windows(pulses)

    relock_ns(Spy(phase=grid.phase), fine_clock, 1, 0.0)
    assert len(silences) == 16
    assert min(silences) >= 30_000
    assert max(silences) < 150_000


def test_the_lock_trace_begins_with_the_splice_and_ends_at_the_disks_period():
    """A quarter bit late, 3 % fast: the loop's period goes from +6 % to within 0.5 % of it."""
    profile = load_profile("pal_dd")
    trace = lock_trace(Model.of(profile, "second_order"), clock_of(profile), 1)
    time, phase, period = (
        np.array(x) for x in (trace.time_ns, trace.phase_ns, trace.period_percent)
    )
    splice = int(np.searchsorted(time, 0))
    assert phase[splice] == pytest.approx(500, abs=250)
    assert period[splice - 1] == pytest.approx(6.2, abs=0.5)
    assert np.abs(period[time > 384_000]).max() < 0.5


def test_largest_halves_down_to_its_resolution():
    """It finds the last right value, its limit if all is right, None if nothing is."""
    assert largest(lambda x: x <= 3.3, 8, 10) == pytest.approx(3.3, abs=8 / 2**10)
    assert largest(lambda x: x <= 9, 8, 10) == 8
    assert largest(lambda x: x < 0, 8, 10) is None
