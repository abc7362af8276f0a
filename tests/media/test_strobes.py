"""When channel bits arrive: exact against Python fractions and the published clocks."""

from fractions import Fraction
from math import floor

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refmodel.ground.errors import UserError
from refmodel.media.strobes import bits_of_revolutions, strobe_cycles
from refmodel.media.track import Track, iso_track, words_track
from refmodel.profile import load_profile

PAL = load_profile("pal_dd").cycles_per_bit
NTSC = load_profile("ntsc_dd").cycles_per_bit
REVOLUTION = 100_000  # channel bits of 2 us in 200 ms


def by_fractions(first, count, rate, start):
    """Compute the cycles one by one with Python's fractions."""
    return [start + floor((first + i + 1) * rate) for i in range(count)]


def rates(largest_denominator):
    """Draw exact rates of 1 to 64 cycles a bit."""
    return st.builds(
        lambda whole, part, denominator: whole + Fraction(part % denominator, denominator),
        st.integers(1, 63),
        st.integers(0, largest_denominator),
        st.integers(1, largest_denominator),
    )


@pytest.mark.parametrize(
    ("profile", "carrier_hz", "multiple", "per_bit"),
    [
        ("pal_dd", (284 - Fraction(1, 4)) * 15625 + 25, Fraction(8, 5), Fraction("14.18758")),
        ("ntsc_dd", Fraction(315_000_000, 88), Fraction(2), Fraction(315, 22)),
    ],
)
def test_cycles_per_channel_bit(profile, carrier_hz, multiple, per_bit):
    """A 2 us channel bit has this many cycles of the carrier-derived clock (check values 6)."""
    assert carrier_hz * multiple == load_profile(profile).clock_hz
    assert load_profile(profile).cycles_per_bit == per_bit


@pytest.mark.parametrize(
    ("rate", "bits", "cycles"),
    [
        (PAL, 8, "113.50064"),
        (PAL, 16, "227.00128"),
        (PAL, REVOLUTION, "1418758"),
        (PAL, 1500, "21281.37"),
        (PAL, 7500, "106406.85"),
        (PAL, 250_000, "3546895"),
        (NTSC, 8, "114.5454"),
        (NTSC, 16, "229.0909"),
        (NTSC, REVOLUTION, "1431818.1818"),
        (NTSC, 1500, "21477.27"),
        (NTSC, 7500, "107386.36"),
        (NTSC, 250_000, "3579545.45"),
    ],
)
def test_cycles_of_bytes_revolutions_and_delays(rate, bits, cycles):
    """The last bit of a stretch arrives in the whole cycles of its length (check values 6)."""
    assert strobe_cycles(bits - 1, 1, rate).tolist() == [int(Fraction(cycles))]
    assert abs(bits * rate - Fraction(cycles)) < Fraction(1, 100)


def test_the_first_bits_alternate_between_14_and_15_cycles():
    """Gaps are the whole cycles below and above the rate, in the share that makes it exact."""
    gaps = np.diff(strobe_cycles(0, REVOLUTION, PAL), prepend=0)
    assert set(gaps.tolist()) == {14, 15}
    assert gaps.sum() == 1_418_758
    assert np.count_nonzero(gaps == 15) == 18_758  # 1 418 758 - 14 * 100 000


def test_a_cell_of_14_cycles_runs_fast():
    """In 200 ms there are 101 339 whole cells of exactly 14 cycles (check values 6)."""
    cycles = strobe_cycles(0, 110_000, Fraction(14))
    assert np.count_nonzero(cycles <= REVOLUTION * PAL) == 101_339
    assert np.count_nonzero(cycles <= REVOLUTION * NTSC) == 102_272


@pytest.mark.parametrize(
    ("rate", "revolution"), [(PAL, 1_418_758), (NTSC, Fraction(15_750_000, 11))]
)
def test_no_drift_over_100_revolutions(rate, revolution):
    """Each of 100 revolutions ends in the cycle its exact length says, and joins the next."""
    last = 50
    for turn in range(100):
        cycles = strobe_cycles(turn * REVOLUTION, REVOLUTION, rate, start=50)
        assert cycles[-1] == 50 + floor((turn + 1) * revolution)
        assert 14 <= cycles[0] - last <= 15
        last = cycles[-1]


@given(st.integers(0, 10_000_000), st.integers(0, 40), rates(10**6), st.integers(0, 10**9))
def test_fractions_agree(first, count, rate, start):
    """Every cycle, up to 100 revolutions on, is the one Python's fractions give."""
    cycles = strobe_cycles(first, count, rate, start)
    assert cycles.dtype == np.int64
    assert cycles.tolist() == by_fractions(first, count, rate, start)


@given(st.integers(0, 10**12), st.integers(0, 40), rates(2**70))
def test_fractions_agree_whatever_the_denominator(first, count, rate):
    """A rate too fine for 64-bit products is exact all the same."""
    assert strobe_cycles(first, count, rate).tolist() == by_fractions(first, count, rate, 0)


@pytest.mark.parametrize("part", [1001, 1000, 999, 600, 2, 1])
@pytest.mark.parametrize("more", [0, 1])
def test_no_overflow_at_the_edge(part, more):
    """Below, at and above the limit of 64-bit products of 1000 bits the cycles are exact."""
    denominator = 2**63 // part + more
    rate = 2 + Fraction(denominator - 1, denominator)
    cycles = strobe_cycles(5, 1000, rate)
    assert cycles.tolist() == by_fractions(5, 1000, rate, 0)


@given(st.integers(0, 10**7), rates(10**4))
def test_cycles_strictly_increase(first, rate):
    """No two channel bits arrive in one cycle."""
    assert (np.diff(strobe_cycles(first, 300, rate)) >= 1).all()


@given(st.integers(0, 10**6), st.integers(0, 200), st.integers(0, 200), rates(10**6))
def test_spans_join(first, before, after, rate):
    """Computed in two spans the cycles are those computed in one."""
    whole = strobe_cycles(first, before + after, rate)
    parts = strobe_cycles(first, before, rate), strobe_cycles(first + before, after, rate)
    assert np.concatenate(parts).tolist() == whole.tolist()


@pytest.mark.parametrize("rate", [Fraction(99, 100), Fraction(0), Fraction(-2)])
def test_less_than_a_cycle_a_bit_is_refused(rate):
    """The error shows the rate and the least there can be."""
    with pytest.raises(UserError, match=f"a channel bit takes {rate} of a cycle; .* 1 or more"):
        strobe_cycles(0, 1, rate)


def test_exactly_one_cycle_a_bit():
    """At the limit every cycle has its channel bit."""
    assert strobe_cycles(0, 5, Fraction(1)).tolist() == [1, 2, 3, 4, 5]


@given(st.lists(st.integers(0, 1), min_size=1, max_size=50), st.integers(0, 10**6), st.data())
def test_revolutions_repeat(bits, first, data):
    """Bit k of revolution r is bit k of the track, at index r * length + k."""
    count = data.draw(st.integers(0, 200))
    track = Track(np.array(bits, np.uint8), ())
    expected = [bits[(first + i) % len(bits)] for i in range(count)]
    assert bits_of_revolutions(track, first, count).tolist() == expected


def test_bits_of_a_revolution_are_a_copy():
    """What is done to the bits of one revolution does not reach the track."""
    track = words_track([0x4489])
    bits_of_revolutions(track, 0, 16)[0] = 1
    assert track.bits[0] == 0


def test_the_place_of_a_late_bit():
    """The index of a bit 99 revolutions on names the place it has in the first."""
    track = iso_track()
    index = 99 * len(track) + 16 * 158
    assert bits_of_revolutions(track, index, 16).tolist() == track.bits[16 * 158 :][:16].tolist()
    assert track.place(index) == "sector 1 ID mark, bit 0 of byte 0"
