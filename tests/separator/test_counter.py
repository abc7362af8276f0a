"""The counting separator: fixed steps of phase and period, by votes."""

from fractions import Fraction

import numpy as np
import pytest

from refmodel.separator.counter import Counter, Counts
from refmodel.separator.leap import follow

CYCLES = Fraction(16)
STEP, DEAD, VOTES = 16, 8, 2


def counter(period_step=1, low=200, high=320):
    """Return a counter of 16 cycles a channel bit, 256 units of 1/16 cycle."""
    return Counter(CYCLES, Counts(4, STEP, DEAD, period_step, VOTES, low, high))


def corrected(*errors):
    """Return phase and period after each of these errors."""
    separator = counter()
    return [(separator.correct(error), separator.period) for error in errors]


def test_a_late_pulse_moves_the_window_one_step_later():
    """The phase falls a step for a late pulse, rises for an early one; the dead zone is still."""
    got = [phase for phase, _ in corrected(100, 9, 8, 0, -8, -9, -100)]
    assert got == [84, -7, 8, 0, -8, 7, -84]


def test_the_period_follows_when_one_side_is_votes_ahead():
    """Two late pulses lengthen it, two early ones shorten it; one of each does nothing."""
    assert [period for _, period in corrected(50, 50)] == [256, 257]
    assert [period for _, period in corrected(-50, -50)] == [256, 255]
    assert [period for _, period in corrected(50, -50, 50, -50)] == [256] * 4
    assert [period for _, period in corrected(50, 0, 50, 50, 50)] == [256, 256, 257, 257, 258]


def test_the_period_stays_within_the_lock_range():
    """Votes beyond the limits change nothing."""
    for error, limit in ((50, 258), (-50, 254)):
        separator = counter(low=254, high=258)
        for _ in range(20):
            separator.correct(error)
        assert separator.period == limit


def test_reset_forgets_the_votes():
    """After a reset a single late pulse is one vote again."""
    separator = counter()
    separator.correct(50)
    separator.reset()
    separator.correct(50)
    assert separator.period == 256


@pytest.mark.parametrize("speed", [0.05, -0.05])
def test_it_learns_the_speed_of_the_disk(speed):
    """After 60 pulses at 5 % the period is the disk's, within three steps of 0.4 %."""
    separator = counter()
    pulses = np.rint(np.arange(1, 100) * 32 / (1 + speed)).astype(np.int64)
    followed = follow(separator, pulses)
    learnt = followed.period[60:] / 256 * (1 + speed)
    assert np.abs(learnt - 1).max() < 3 / 256
    assert (np.diff(followed.window) == 2)[60:].all()


def swing(period_step, speed=0.0, kick=0):
    """Return the widest late phase error on a track of the longest gaps, once disturbed."""
    number = np.arange(1, 800)
    pulses = np.rint(number * 64 * (1 + speed) + np.where(number > 20, kick, 0)).astype(np.int64)
    return np.abs(follow(counter(period_step, low=128, high=512), pulses).phase[600:]).max()


DISTURBED = [{"kick": 3}, {"kick": 7}, {"speed": 0.03}, {"speed": -0.03}]


@pytest.mark.parametrize("disturbed", DISTURBED)
@pytest.mark.parametrize("period_step", [1, 2, 3])
def test_it_settles_while_a_phase_step_is_above_4_period_steps(period_step, disturbed):
    """Within the schema's limit the error stays within a step, a gap's drift and the dead zone."""
    assert swing(period_step, **disturbed) <= STEP + 4 * period_step + DEAD


def test_a_period_step_that_outruns_the_phase_step_never_settles():
    """At three times the limit the error swings through half the window for good."""
    assert max(swing(12, **disturbed) for disturbed in DISTURBED) > 64
