"""What counts as an error, from the windows pulses fall into."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refmodel.media.flux_build import read, write
from refmodel.media.flux_defects import Defects
from refmodel.media.track import iso_track
from refmodel.profile import load_profile
from refmodel.separator.choose import NAMES, make_separator
from refmodel.separator.leap import follow, run
from refmodel.separator.measure import (
    SETTLED,
    Tally,
    first_held,
    last_error,
    probe_failures,
    tally,
    windows_of_bits,
    wrong_bits,
)


@pytest.mark.parametrize("latency", [0, 3])
@pytest.mark.parametrize("name", NAMES)
def test_the_windows_of_a_models_bits_are_the_models_windows(name, latency):
    """A core judged by its delivered bits alone gets exactly the figures of its model."""
    profile = load_profile("pal_dd")
    one, other = (make_separator(name, profile.separator, profile.cycles_per_bit) for _ in range(2))
    wrong = Defects(speed_percent=6, jitter_ns=300, pw50_ns=3000)
    pulses = np.unique(read(write(iso_track(), 2000.0, wrong), wrong, 1).seen(profile.cycle_ns))
    bits = run(one, pulses, int(pulses[-1]) + 1)
    windows = windows_of_bits(bits.cycle + latency, pulses, latency)
    assert windows.tolist() == follow(other, pulses).window.tolist()


PULSES = (2, 4, 8, 11, 13, 15, 18, 22, 24, 27, 31, 33, 36, 40, 42, 44, 48, 51, 53, 57)


def delivered(ones, flipped=(), late=0):
    """Return 60 channel bits, 1 at these places but for those flipped, so many bits late."""
    bits = np.zeros(60, np.uint8)
    bits[list(ones)] = 1
    bits[list(flipped)] ^= 1
    return np.concatenate((np.zeros(late, np.uint8), bits))


@pytest.mark.parametrize(
    ("flipped", "late", "extra", "expected"),
    [
        ((), 0, (), 0),
        ((), 1, (), 0),
        ((), 16, (), 0),
        ((4,), 0, (), 1),
        ((1,), 0, (), 0),
        ((4, 7, 9), 3, (), 3),
        ((2, 59), 0, (), 1),
        ((31,), 0, (31,), 0),
        ((31,), 0, (40,), 1),
    ],
)
def test_a_wrong_bit_is_one_that_is_not_its_pulse(flipped, late, extra, expected):
    """A 1 for each pulse and a 0 for none, all as late; where another pulse fell, either.

    Bits before the first pulse and behind the last are not judged.
    """
    window = np.array(PULSES)
    values = delivered(window, flipped, late)
    offset = np.full(len(window), 5)
    assert expected == wrong_bits(values, window, offset, np.array(extra, np.int64))[0]


def test_bits_are_judged_where_the_separator_holds():
    """Around a slip, and where fewer than 16 pulses keep one offset, no bit is judged."""
    window = np.arange(0, 60, 3)
    for offset in (np.arange(20), np.repeat((1, 2), 10)):
        assert 0 == wrong_bits(delivered(()), window, offset, np.empty(0, np.int64))[0]


@pytest.mark.parametrize(
    ("offset", "expected"),
    [
        ([5] * 50, Tally(50, 0, 0)),
        ([5] * 16, Tally(16, 0, 0)),
        ([5] * 15, Tally(15, 15, 0)),
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
    """A tally has every pulse, those out of the place their neighbours keep, and the slips.

    In turn: nothing, as few as are held and one fewer, one wrong pulse, two, a slip, several, a
    late lock, no lock, no pulse.
    """
    assert tally(np.array(offset, np.int64)) == expected


@given(st.sets(st.integers(1, 39)), st.integers(-5, 5))
def test_isolated_wrong_pulses_are_counted_one_by_one(places, held):
    """Each counts once, however many there are, if the separator settles in between."""
    offset = np.full(41 * (SETTLED + 1), held)
    offset[[place * (SETTLED + 1) for place in places]] += 1
    assert tally(offset) == (len(offset), len(places), 0)


def test_a_rate_is_errors_per_pulse():
    """3 of 1000 are a rate of 0.003, none of none a rate of 0."""
    assert Tally(1000, 3, 0).rate == 0.003
    assert Tally(0, 0, 0).rate == 0


def test_the_last_error_is_before_the_offset_that_stays():
    """It is the last pulse whose offset is not the final one; -1 where there is none."""
    assert last_error(np.array([1, 1, 2, 2, 1, 2, 2])) == 4
    assert last_error(np.array([2, 2])) == -1
    assert last_error(np.array([], np.int64)) == -1


def test_the_first_held_pulse_begins_16_of_one_offset():
    """It is the first pulse of the first 16 with one offset; without so many there is none."""
    assert first_held(np.array([1, 2, 2, *[3] * 16, *[4] * 16])) == 3
    assert first_held(np.array([3] * 15)) is None
    assert first_held(np.array([], np.int64)) is None


def test_a_probe_does_not_fail_with_other_pulses():
    """Wrong pulses among the four before a probe, or beyond the next one, are not its fault."""
    offset = np.zeros(80, np.int64)
    offset[[19, 22, 25]], offset[[36, 42, 48]] = 1, -1
    assert probe_failures(offset, np.array([20, 40])).tolist() == [False, False]


def test_a_probe_fails_with_its_own_window_the_next_ones_or_a_slip():
    """Of five probes one is wrong itself, one is followed by a wrong pulse, one by a slip."""
    offset = np.zeros(130, np.int64)
    offset[40], offset[61] = 1, -1
    offset[82:] += 1
    probes = np.array([20, 40, 60, 80, 100])
    assert probe_failures(offset, probes).tolist() == [False, True, True, True, False]
