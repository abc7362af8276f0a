"""The fast form of every separator equals `step`, edge by edge."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refmodel.ground.errors import UserError
from refmodel.separator.counter import Counter, Counts
from refmodel.separator.leap import follow, run
from refmodel.separator.rephase import Rephase
from refmodel.separator.second_order import Gains, SecondOrder

PAL = Fraction(7093790, 500000)


def separators(cycles_per_bit):
    """Every design, with numbers that make each of its rules matter within a few pulses."""
    nominal = round(cycles_per_bit * 16)
    low, high = nominal - nominal // 8, nominal + nominal // 8
    fine = 1 << 12
    limits = (round(cycles_per_bit * fine * 0.9), round(cycles_per_bit * fine * 1.1))
    return [
        Rephase(cycles_per_bit),
        Rephase(cycles_per_bit, 0),
        Counter(cycles_per_bit, Counts(4, 16, 8, 3, 2, low, high)),
        Counter(cycles_per_bit, Counts(4, 24, 0, 5, 1, low, high)),
        SecondOrder(cycles_per_bit, Gains(12, 1024, 128, *limits)),
        SecondOrder(cycles_per_bit, Gains(12, 1024, 512, *limits, 4, False)),
        SecondOrder(cycles_per_bit, Gains(12, 4096, 4000, *limits, 5, True)),
        SecondOrder(cycles_per_bit, Gains(12, 6000, 2000, *limits, 6, True)),
        # An early pulse shortens the period so much that the phase lies outside the window.
        SecondOrder(cycles_per_bit, Gains(12, 32, 4000, limits[0] // 2, limits[1] * 2)),
    ]


DESIGNS = range(len(separators(PAL)))


@st.composite
def pulse_trains(draw):
    """Pulses at MFM-like gaps, with bursts of neighbours and long silences between."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    kinds = draw(st.lists(st.sampled_from(("data", "burst", "silence")), min_size=1, max_size=8))
    gaps = [draw(st.integers(0, 40))]
    for kind in kinds:
        if kind == "data":
            gaps += rng.normal(rng.integers(2, 5, 20) * 14.2, 3).clip(1).astype(int).tolist()
        elif kind == "burst":
            gaps += rng.integers(1, 12, 6).tolist()
        else:
            gaps += rng.integers(50, 400, 2).tolist()
    return np.cumsum(gaps)


def stepped(separator, pulses, end):
    """Return the bits, and what followed each pulse, from `step`."""
    hits = set(pulses.tolist())
    delivered, followed, window = [], [], 0
    for cycle in range(separator.cycle + 1, end):
        before, period = separator.pulse_phase, separator.period
        strobe, bit = separator.step(int(cycle in hits))
        window += strobe
        if strobe:
            delivered.append((cycle, bit, before if bit else 0, period))
        if cycle in hits:
            followed.append((window, separator.pulse_phase, separator.period))
    return delivered, followed


def rows(bits):
    """Return delivered bits as tuples."""
    columns = (bits.cycle, bits.bit, bits.phase, bits.period)
    return list(zip(*(column.tolist() for column in columns), strict=True))


def state(separator):
    """Return everything a separator remembers."""
    names = ("cycle", "phase", "period", "seen", "pulse_phase", "idle")
    return [getattr(separator, name) for name in names] + [getattr(separator, "ahead", 0)]


@settings(max_examples=60)
@given(pulse_trains(), st.integers(1, 300), st.sampled_from((PAL, Fraction(16), Fraction(9, 2))))
@pytest.mark.parametrize("which", DESIGNS)
def test_run_equals_step(which, pulses, tail, cycles_per_bit):
    """`run` delivers the bits of `step` in its cycles, with its phase, period and state after."""
    plain, fast = (separators(cycles_per_bit)[which] for _ in range(2))
    end = int(pulses[-1]) + tail
    expected, _ = stepped(plain, pulses, end)
    assert rows(run(fast, pulses, end)) == expected
    assert state(fast) == state(plain)


@settings(max_examples=30)
@given(pulse_trains())
@pytest.mark.parametrize("which", DESIGNS)
def test_follow_equals_step(which, pulses):
    """`follow` gives window, phase and period of every pulse, and the state, as `step` does."""
    plain, fast = (separators(PAL)[which] for _ in range(2))
    _, expected = stepped(plain, pulses, int(pulses[-1]) + 1)
    got = follow(fast, pulses)
    columns = (got.window.tolist(), got.phase.tolist(), got.period.tolist())
    assert list(zip(*columns, strict=True)) == expected
    assert state(fast) == state(plain)


@settings(max_examples=60)
@given(pulse_trains(), st.data())
@pytest.mark.parametrize("which", DESIGNS)
def test_run_goes_on_where_it_was(which, pulses, data):
    """Two spans, or a span of steps and a span of leaps, give what the whole gives."""
    whole, parts, mixed = (separators(PAL)[which] for _ in range(3))
    end = int(pulses[-1]) + 100
    cut = data.draw(st.integers(0, end))
    early, late = pulses[pulses < cut], pulses[pulses >= cut]
    expected = rows(run(whole, pulses, end))
    assert rows(run(parts, early, cut)) + rows(run(parts, late, end)) == expected
    assert stepped(mixed, early, cut)[0] + rows(run(mixed, late, end)) == expected


@pytest.mark.parametrize("which", DESIGNS)
def test_a_span_without_pulses_delivers_zeros(which):
    """Without a pulse it delivers nothing but 0s, one each period as it holds the nominal one."""
    separator = separators(PAL)[which]
    bits = run(separator, np.empty(0, np.int64), 14_188)
    assert not bits.bit.any()
    assert len(bits.bit) == int(14_188 * (1 << separator.fraction_bits) / separator.nominal)
    assert rows(run(separators(PAL)[which], np.empty(0, np.int64), 0)) == []


@pytest.mark.parametrize(
    ("pulses", "message"),
    [
        (
            [5, 9, 9],
            "separator: pulse 2 at cycle 9 is not after pulse 1 at cycle 9; "
            "pulses must be in order, one an edge",
        ),
        (
            [5, 9, 7],
            "separator: pulse 2 at cycle 7 is not after pulse 1 at cycle 9; "
            "pulses must be in order, one an edge",
        ),
        ([-4, 9], "separator: pulses from cycle -4 to 9 do not lie in cycles 0 .. 99"),
        ([5, 100], "separator: pulses from cycle 5 to 100 do not lie in cycles 0 .. 99"),
    ],
)
def test_pulses_it_cannot_take_are_refused(pulses, message):
    """Pulses out of order, before the next edge, or after the span are told with their places."""
    with pytest.raises(UserError) as error:
        run(Rephase(PAL), np.array(pulses), 100)
    assert str(error.value) == message


def test_going_back_is_refused():
    """A separator that is at edge 99 cannot run to edge 50."""
    separator = Rephase(PAL)
    run(separator, np.array([5]), 100)
    with pytest.raises(UserError, match="is at cycle 99 already; it cannot run to cycle 50"):
        run(separator, np.empty(0, np.int64), 51)
