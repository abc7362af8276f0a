"""The second-order separator's loop, against scipy.signal and the closed forms of loop theory."""

from fractions import Fraction

import numpy as np
import pytest
from scipy import ndimage, signal, stats

from refmodel.separator.leap import follow
from refmodel.separator.second_order import Gains, SecondOrder

WINDOW = 10_000  # cycles a channel bit: so fine that whole cycles do not show
LIMITS = (WINDOW << 15, WINDOW << 17)  # half and double the nominal period
PREAMBLE = 100


def loop(kp, ki, limits=LIMITS):
    """Return a separator with these gains, whatever the profile's schema says of them."""
    return SecondOrder(Fraction(WINDOW), Gains(16, round(kp * 4096), round(ki * 4096), *limits))


def errors(kp, ki, late):
    """Return the phase error of each pulse, in cycles, of a preamble whose pulses are `late`.

    The loop has followed a perfect preamble before.
    """
    late = np.concatenate((np.zeros(PREAMBLE), late))
    pulses = np.rint(np.arange(1, len(late) + 1) * 2 * WINDOW + late).astype(np.int64)
    return follow(loop(kp, ki), pulses).phase[PREAMBLE:] / 65536


def error_system(kp, ki):
    """Return the loop from input phase to phase error as a system of scipy.signal."""
    return signal.dlti([1, -2, 1], [1, -(2 - kp - ki), 1 - kp], dt=1)


def noise_gain(kp, ki):
    """Return sum h^2 of the loop's own phase in closed form (check values 3c)."""
    return (2 * ki + kp * (2 * kp + ki)) / (kp * (4 - 2 * kp - ki))


# kp, ki, samples to 2 %, least error after a phase step, peak error after a frequency step and
# when, sum of the squared impulse response; computed by simulation = scipy dlti and closed form.
TABLE = [
    (1, 1, 2, -1, 1.0000, 1, 5.0000),
    (1 / 2, 1 / 8, 13, -0.2416, 1.3906, 3, 0.5652),
    (1 / 2, 1 / 16, 21, -0.1522, 1.5664, 3, 0.4468),
    (1 / 4, 1 / 32, 27, -0.2219, 2.6673, 6, 0.2252),
    (1 / 4, 1 / 64, 42, -0.1421, 3.0169, 7, 0.1839),
    (1 / 8, 1 / 128, 54, -0.2140, 5.2376, 12, 0.1023),
    (1 / 8, 1 / 256, 86, -0.1384, 5.9529, 15, 0.0845),
]
GAINS = [row[:2] for row in TABLE]


@pytest.mark.parametrize(("kp", "ki"), GAINS)
def test_a_phase_step_is_answered_as_scipy_says(kp, ki):
    """The error of each of 150 pulses is that of scipy.signal's step response."""
    got = errors(kp, ki, np.full(150, 2000.0)) / 2000
    _, (expected,) = signal.dstep(error_system(kp, ki), n=150)
    np.testing.assert_allclose(got, expected[:, 0], atol=1e-5)


@pytest.mark.parametrize(("kp", "ki"), GAINS)
def test_a_frequency_step_is_answered_as_scipy_says(kp, ki):
    """A speed error of 1 % is answered as scipy.signal answers a ramp of 200 cycles a pulse."""
    late = np.arange(150) * 200.0
    got = errors(kp, ki, late)
    _, expected = signal.dlsim(error_system(kp, ki), late)
    np.testing.assert_allclose(got, expected[:, 0], atol=0.01)


@pytest.mark.parametrize(("kp", "ki", "settled", "least", "peak", "when", "gain"), TABLE)
def test_the_loop_has_the_figures_of_the_table(kp, ki, settled, least, peak, when, gain):
    """Settling, overshoot, frequency step and noise gain are those computed outside."""
    step = errors(kp, ki, np.full(300, 2000.0)) / 2000
    outside = np.flatnonzero(np.abs(step) > 0.02)
    assert outside[-1] + 1 == settled
    assert step.min() == pytest.approx(least, abs=1e-4)
    ramp = errors(kp, ki, np.arange(300) * 100.0) / 100
    assert ramp.max() == pytest.approx(peak, abs=2e-4)
    assert np.argmax(ramp) == when
    impulse = errors(kp, ki, np.where(np.arange(300) == 0, 1000.0, 0)) / 1000
    assert (impulse[1:] ** 2).sum() == pytest.approx(gain, abs=1e-4)


@pytest.mark.parametrize(("kp", "ki"), GAINS[1:])
def test_jitter_passes_with_the_noise_gain_of_the_closed_form(kp, ki):
    """Jitter's variance goes into the loop's own phase sum h^2 times, within four sigma."""
    jitter = np.random.default_rng(1).normal(0, 300, 100_000)
    own = jitter - errors(kp, ki, jitter)
    # The phase is correlated over about 1 / kp pulses: so many fewer independent samples.
    tolerance = 4 * np.sqrt(2 / (len(jitter) * kp / 2))
    assert own.var() / jitter.var() == pytest.approx(noise_gain(kp, ki), rel=tolerance)


@pytest.mark.parametrize(
    ("zeta", "overshoot", "peak_at", "frequency_peak"),
    # Type-2 second-order loop, Gardner, Phaselock Techniques: closed forms that agree with
    # scipy.signal.step and .impulse; times are w t.
    [
        (0.3, 45.10, 2.654, 0.6715),
        (0.5, 29.84, 2.418, 0.5463),
        (0.7071, 20.79, 2.221, 0.4559),
        (1, 13.53, 2.000, 0.3679),
        (2, 4.78, 1.521, 0.2186),
    ],
)
def test_a_slow_loop_is_the_continuous_one_of_the_books(zeta, overshoot, peak_at, frequency_peak):
    """With w = 1/64 a pulse the sampled loop is within 3 % of the continuous one."""
    w = 1 / 64
    step = errors(2 * zeta * w, w * w, np.full(800, 2000.0)) / 2000
    assert -100 * step.min() == pytest.approx(overshoot, rel=0.03, abs=0.15)
    assert np.argmin(step) * w == pytest.approx(peak_at, rel=0.03)
    ramp = errors(2 * zeta * w, w * w, np.arange(800) * 20.0) / 20
    assert ramp.max() * w == pytest.approx(frequency_peak, rel=0.03)


@pytest.mark.parametrize("kp_ki", [(1 / 2, 1 / 16), (1 / 4, 1 / 32)])
@pytest.mark.parametrize("sigma", [200, 225, 250])
def test_gaussian_jitter_leaves_the_window_as_often_as_the_tail_says(kp_ki, sigma):
    """P = 2 norm.sf(1 us / (sigma sqrt(1 + sum h^2))): jitter, and the loop's own under it.

    Above some 1e-3 that no longer holds: a pulse in the wrong window is an error of the other
    sign, and pushes the loop the wrong way.
    """
    kp, ki = kp_ki
    count = 400_000
    jitter = np.random.default_rng(sigma).normal(0, sigma / 2000 * WINDOW, count)
    pulses = np.rint(np.arange(1, count + 1) * 2 * WINDOW + jitter).astype(np.int64)
    offset = follow(loop(kp, ki), pulses).window - 2 * np.arange(count)
    settled = ndimage.median_filter(offset, 31)
    slips = np.count_nonzero(np.diff(settled))
    wrong = np.count_nonzero(offset != settled) + slips
    expected = 2 * stats.norm.sf(1000 / (sigma * np.sqrt(1 + noise_gain(kp, ki))))
    low, high = stats.binom.interval(1 - 6.3e-5, count, expected)  # four sigma
    assert low <= wrong <= high


def static_error(kp, ki, speed):
    """Return the phase error, in parts of a channel bit, that stays at a speed error."""
    pulses = np.rint(np.arange(1, 400) * 2 * WINDOW / (1 + speed)).astype(np.int64)
    return follow(loop(kp, ki), pulses).phase[-1] / 65536 / WINDOW


@pytest.mark.parametrize("speed", [0.02, -0.02])
def test_without_its_integral_part_a_speed_error_leaves_a_phase_error(speed):
    """At 2 % fast, kp 1/4: 16 % of a channel bit (314 ns) for good; with the part, nothing.

    A type-1 loop's static error is the drift a pulse, 2 channel bits x 2 %, over kp (Gardner).
    """
    drift = 2 * (1 / (1 + speed) - 1)
    assert static_error(1 / 4, 0, speed) == pytest.approx(drift / (1 / 4), rel=0.01)
    assert abs(static_error(1 / 4, 0, speed) * 2000) > 310
    assert abs(static_error(1 / 4, 1 / 32, speed) * 2000) < 1


def test_gains_past_the_stability_limit_make_errors_grow():
    """2 kp + ki just below 4 settles, just above it does not: the limit of the schema."""
    below = errors(1.5, 0.9, np.where(np.arange(60) == 0, 10.0, 0.0))
    above = errors(1.5, 1.1, np.where(np.arange(60) == 0, 10.0, 0.0))
    assert abs(below[-5:]).max() < 1
    assert abs(above[-5:]).max() > 50


def test_the_period_stays_within_the_lock_range():
    """At 6 % fast a loop of +-4 % stops at its shortest period, at 6 % slow at its longest."""
    limits = (round(WINDOW * 65536 * 0.96), round(WINDOW * 65536 * 1.04))
    for speed, limit in ((1.06, limits[0]), (0.94, limits[1])):
        separator = loop(1 / 4, 1 / 32, limits)
        pulses = np.rint(np.arange(1, 300) * 2 * WINDOW / speed).astype(np.int64)
        periods = follow(separator, pulses).period
        assert limit in (periods.min(), periods.max())
        assert (limits[0] <= periods).all()
        assert (periods <= limits[1]).all()


@pytest.mark.parametrize("nominal", [False, True])
def test_it_coasts_at_its_last_or_at_the_nominal_period(nominal):
    """After 16 windows without a pulse it coasts, until a pulse is the centre of its window."""
    gains = Gains(16, 1024, 128, *LIMITS, 16, nominal)
    separator = SecondOrder(Fraction(WINDOW), gains)
    pulses = np.rint(np.arange(1, 300) * 2 * WINDOW / 1.05).astype(np.int64)
    follow(separator, pulses)
    learnt = separator.period
    assert learnt == pytest.approx(WINDOW * 65536 / 1.05, rel=1e-4)
    for _ in range(15 * WINDOW):
        separator.step(0)
    assert separator.period == learnt
    for _ in range(10 * WINDOW):
        separator.step(0)
    assert separator.period == (WINDOW * 65536 if nominal else learnt)
    held = separator.period
    separator.step(1)
    assert separator.phase == 0
    assert separator.period == held
