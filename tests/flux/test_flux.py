"""Flux: pulse times, their order, and the clock edges at which a separator sees them."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refmodel.ground.errors import UserError
from refmodel.ground.pulses import NO_BIT
from refmodel.media.flux import Flux, flux_from_cycles, flux_from_ns, makes_edge, pulse_width
from refmodel.profile import load_profile

CYCLE = Fraction(125, 2)  # 62.5 ns: 16 MHz


def test_a_pulse_is_seen_at_the_first_edge_at_or_after_it():
    """Times become edge numbers by rounding up, and `start` is added."""
    flux = flux_from_ns([0.0, 1.0, 62.5, 62.6, 125.0, 1e9])
    assert flux.seen(CYCLE).tolist() == [0, 1, 1, 2, 2, 16_000_000]
    assert flux.seen(CYCLE, start=4).tolist() == [4, 5, 5, 6, 6, 16_000_004]


@given(st.lists(st.integers(0, 10**9), min_size=1, unique=True), st.sampled_from(range(3)))
def test_cycles_come_back_as_they_were_given(cycles, which):
    """A capture in whole cycles is seen at those very edges, at any clock."""
    cycle_ns = (CYCLE, load_profile("pal_dd").cycle_ns, load_profile("ntsc_dd").cycle_ns)[which]
    cycles = sorted(cycles)
    flux = flux_from_cycles(cycles, cycle_ns)
    assert flux.seen(cycle_ns).tolist() == cycles
    assert set(flux.bit.tolist()) == {NO_BIT}


@pytest.mark.parametrize(("clock", "cycles"), [("pal_dd", 3), ("ntsc_dd", 3), ("round_hd", 6)])
def test_a_read_pulse_of_400_ns_lasts_three_cycles_at_7_mhz(clock, cycles):
    """400 ns is the typical read pulse of the SFD-321B drive manual, p. 20."""
    assert pulse_width(load_profile(clock).cycle_ns) == cycles


def test_a_read_pulse_is_never_shorter_than_a_cycle():
    """A clock slower than the pulse still sees it."""
    assert pulse_width(Fraction(2000)) == 1


def line_of(seen, width):
    """Draw the read-data line cycle by cycle, the plain way: active for `width` cycles a pulse."""
    line = np.zeros(max(seen) + width + 2, int)
    for cycle in seen:
        line[cycle : cycle + width] = 1
    return line


@given(st.lists(st.integers(0, 60), min_size=1), st.integers(1, 5))
def test_pulses_that_overlap_on_the_line_make_one_edge(seen, width):
    """The edges are those of the line itself, drawn out cycle by cycle."""
    seen = sorted(seen)
    line = line_of(seen, width)
    rises = np.flatnonzero(np.diff(line, prepend=0) == 1)
    edges = np.array(seen)
    assert edges[makes_edge(edges, width)].tolist() == rises.tolist()


@given(st.lists(st.integers(0, 60), min_size=2), st.integers(1, 5), st.data())
def test_leading_edges_can_be_found_span_by_span(seen, width, data):
    """With the last pulse of the span before, two spans give what the whole gives."""
    seen = np.array(sorted(seen))
    cut = data.draw(st.integers(1, len(seen) - 1))
    parts = (
        makes_edge(seen[:cut], width),
        makes_edge(seen[cut:], width, before=int(seen[cut - 1])),
    )
    assert np.concatenate(parts).tolist() == makes_edge(seen, width).tolist()


@pytest.mark.parametrize(
    ("times", "message"),
    [
        ([], "flux: the track has no pulse; there is nothing a separator could follow"),
        ([[1.0, 2.0]], "flux: the times are an array of 2 dimensions; it must be a list"),
        ([-1.0, 2.0], "flux: pulse 0 at -1 ns is negative; time begins at 0"),
        ([1.0, float("nan")], "flux: pulse 1 at nan ns is not a time"),
        ([1.0, float("inf")], "flux: pulse 1 at inf ns is not a time"),
        ([1.0, 2e15], "flux: pulse 1 at 2e+15 ns is above 1e+15 ns"),
        (
            [10.0, 4000.0, 3999.5],
            "flux: pulse 2 at 3999.5 ns is not after pulse 1 at 4000 ns; "
            "pulses must be in order of time",
        ),
        (
            [10.0, 10.0],
            "flux: pulse 1 at 10 ns is not after pulse 0 at 10 ns; pulses must be in order of time",
        ),
    ],
)
def test_times_that_are_no_flux_are_refused(times, message):
    """The message names the first bad pulse and its time."""
    with pytest.raises(UserError) as error:
        flux_from_ns(times)
    assert str(error.value) == message


def test_a_pulse_outside_its_span_is_refused():
    """A flux says which time it covers, and its pulses lie there."""
    with pytest.raises(UserError, match="do not lie in the span from 0 to 5 ns"):
        Flux(np.array([1.0, 5.0]), np.array([0, 1]), 0.0, 5.0)


def test_cycles_that_are_not_whole_are_refused():
    """A capture in cycles holds whole numbers."""
    with pytest.raises(UserError, match="float64 values are not whole cycles"):
        flux_from_cycles(np.array([1.5, 3.0]), CYCLE)


def test_negative_cycles_are_refused():
    """No pulse comes before edge 0."""
    with pytest.raises(UserError, match=r"pulse 0 .* is negative"):
        flux_from_cycles([-3, 5], CYCLE)


def test_a_pulse_of_no_length_is_refused():
    """The line must be active for a cycle at least."""
    with pytest.raises(UserError, match="pulse_cycles: 0 is below 1"):
        makes_edge(np.array([1, 2]), 0)
