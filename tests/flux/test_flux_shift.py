"""Peak shift of superposed Lorentzian pulses, against the published precompensation rule."""

import itertools

import numpy as np
import pytest

from refmodel.media.flux_shift import peak_shifts
from refmodel.media.mfm import encode

BIT_NS = 2000.0
# Which way the transition in the middle is read, by two data bits before it, its own, and the one
# after. Control Data application note 77653447 (1983): x011 and 1000 early, x110 and 0001 late.
# The others are the complement: no correction.
EARLY, LATE = -1, 1
PUBLISHED = {"0011": EARLY, "1011": EARLY, "1000": EARLY, "0110": LATE, "1110": LATE, "0001": LATE}


def shift_between(before, after, pw50, outer=4):
    """Return the shift of a transition with neighbours so many half-cells before and after."""
    gaps = np.array([outer, before, after, outer])
    position = 100 + np.concatenate(([0], np.cumsum(gaps)))
    return peak_shifts(position * BIT_NS, 10_000 * BIT_NS, pw50)[2]


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        # Computed once with superposed Lorentzian pulses in another program, outermost neighbours
        # 4 half-cells away; ns for PW50 = 2, 3, 4 us.
        (2, 3, (9, 37, 88)),
        (2, 4, (12, 48, 117)),
        (3, 4, (2, 11, 30)),
        (3, 2, (-9, -37, -88)),
        (4, 2, (-12, -48, -117)),
        (4, 3, (-2, -11, -30)),
        (2, 2, (0, 0, 0)),
        (3, 3, (0, 0, 0)),
        (4, 4, (0, 0, 0)),
    ],
)
def test_shifts_are_those_of_superposed_lorentzian_pulses(before, after, expected):
    """Each pair of spacings shifts the transition as computed, to the nanosecond."""
    shifts = [shift_between(before, after, pw50) for pw50 in (2000.0, 3000.0, 4000.0)]
    assert [round(float(shift)) for shift in shifts] == list(expected)


def test_the_peak_of_the_sum_lies_where_a_search_finds_it():
    """An independent search on the plain sum of pulses gives the same peak within 0.1 ns."""
    gaps = (3, 2, 4, 3, 2, 2, 4, 2, 3)
    position = (100 + np.cumsum((0, *gaps))) * BIT_NS
    time = np.arange(-400, 400, 0.1)
    for at in range(3, len(position) - 3):
        signal = sum(
            (-1) ** (n - at) / (1 + ((time - (position[n] - position[at])) / 2000) ** 2)
            for n in range(at - 3, at + 4)
        )
        found = peak_shifts(position, 1e9, 4000.0)[at]
        assert found == pytest.approx(time[np.argmax(signal)], abs=0.1)


def spacings(context, following):
    """Return the half-cells before and after the transition in or at the start of the third cell.

    `context` has two data bits before it, its own and the one after; None when it has none.
    """
    ones = np.flatnonzero(encode(int(context + following, 2).to_bytes(1, "big"), previous=1))
    here = [n for n, bit in enumerate(ones.tolist()) if bit in (4, 5)]
    return (ones[here[0]] - ones[here[0] - 1], ones[here[0] + 1] - ones[here[0]]) if here else None


@pytest.mark.parametrize("pw50", [2000.0, 3000.0, 4000.0])
@pytest.mark.parametrize("context", ["".join(bits) for bits in itertools.product("01", repeat=4)])
def test_the_shift_has_the_sign_of_the_precompensation_rule(context, pw50):
    """In all 16 contexts, whatever follows; the rule itself ignores spacings of 3 beside 4."""
    for following in ("0000", "0100", "1000", "1100"):
        around = spacings(context, following)
        if context[1:3] == "10":
            assert around is None, "a 0 after a 1 has no transition to shift"
        elif set(around) == {3, 4}:
            assert context not in PUBLISHED
        else:
            shift = round(float(shift_between(*around, pw50)))
            assert np.sign(shift) == PUBLISHED.get(context, 0)


def test_no_pulse_width_means_no_shift():
    """PW50 0 leaves every transition where it was written."""
    assert peak_shifts(np.array([1.0, 5.0, 7.0]), 20.0, 0.0).tolist() == [0.0, 0.0, 0.0]


def test_a_single_transition_has_no_neighbour_to_push_it():
    """One pulse a revolution is not shifted by itself."""
    assert peak_shifts(np.array([1.0]), 20.0, 4.0).tolist() == [0.0]


def test_shift_goes_round_the_ring():
    """The last transition of a track pushes the first."""
    position = np.array([0.0, 6.0, 14.0, 20.0]) * 1000 + 1000
    shifted = peak_shifts(position, 24_000.0, 3000.0)  # first: 4 us behind it, 6 us ahead
    assert shifted[0] == pytest.approx(37, abs=3)  # as spacings of 2 and 3 above, other neighbours
