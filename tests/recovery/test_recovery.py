"""A core's own channel bits: taken by the block model, and judged by the pulses they come from."""

from dataclasses import replace

import numpy as np

from refmodel.engine.compare import CHANNEL_BIT, Mismatch
from refmodel.engine.core_separator import STROBE, VALUE, Recovery
from refmodel.engine.evidence import Observed
from refmodel.engine.timeline import Expected
from refmodel.ground.lane import Lane
from refmodel.ground.pulses import NO_BIT, Pulses
from refmodel.ground.stimulus import Stimulus


def lane(first, *changes):
    """Return a lane that is 0 from `first` on, and changes as said."""
    cycles, values = zip((first, 0), *changes, strict=True)
    return Lane.of(np.array(cycles), np.array(values))


def observed(first, strobe, value, vague_strobe=(), vague_value=()):
    """Return what a core shows of its channel bits."""
    return Observed(
        {STROBE: lane(first, *strobe), VALUE: lane(first, *value)},
        {STROBE: lane(first, *vague_strobe), VALUE: lane(first, *vague_value)},
    )


def rows(shown):
    """Return a lane as pairs."""
    return list(zip(shown.cycle.tolist(), shown.value.tolist(), strict=True))


def pulses(*places):
    """Return pulses at these edges, each with the bit it was written as."""
    cycle, bit = zip(*places, strict=True)
    return Pulses(np.array(cycle), np.array(bit))


def test_a_shown_bit_is_taken_at_the_next_edge():
    """A strobe in cycles 10, 30 and 31 gives bits at edges 11, 31, 32, and no other."""
    seen = observed(0, [(10, 1), (11, 0), (30, 1), (32, 0)], [(5, 1), (20, 0), (31, 1)])
    stimulus, found = Recovery(None).follow(Stimulus(0, 50), seen)
    assert [(11, 1), (31, 0), (32, 1)] == list(
        zip(stimulus.bit_cycle.tolist(), stimulus.bit.tolist(), strict=True)
    )
    assert [(0, 0), (10, 3), (11, 0), (30, 2), (31, 3), (32, 0)] == rows(found.lanes[CHANNEL_BIT])
    assert {CHANNEL_BIT} == set(found.lanes) == set(found.unknown)


def test_a_bit_in_the_last_cycle_belongs_to_the_next_span():
    """A strobe that lasts from cycle 49 to 50 gives one bit at edge 50 and one at edge 51."""
    recovery = Recovery(None)
    first, _ = recovery.follow(Stimulus(0, 50), observed(0, [(49, 1)], [(49, 1)]))
    later = Observed(
        {STROBE: Lane.of(np.array([50, 51]), np.array([1, 0])), VALUE: lane(50)},
        {STROBE: lane(50), VALUE: lane(50)},
    )
    second, _ = recovery.follow(Stimulus(50, 50), later)
    assert [] == first.bit_cycle.tolist()
    assert ([50, 51], [1, 0]) == (second.bit_cycle.tolist(), second.bit.tolist())


def test_what_is_unknown_without_a_strobe_does_not_count():
    """An unknown value beside a strobe counts as unknown, alone it does not; a strobe always."""
    seen = observed(0, [(10, 1), (11, 0)], [], [(40, 1), (41, 0)], [(9, 1), (20, 0)])
    _, found = Recovery(None).follow(Stimulus(0, 50), seen)
    assert [(0, 0), (10, 1), (11, 0), (40, 2), (41, 0)] == rows(found.unknown[CHANNEL_BIT])


def test_without_a_claimed_model_the_core_is_expected_to_show_what_it_shows():
    """Only what is unknown can then be wrong with a channel bit."""
    recovery = Recovery(None)
    stimulus, found = recovery.follow(Stimulus(0, 50), observed(0, [(10, 1), (11, 0)], [(10, 1)]))
    nothing = Expected(0, 50, {}, np.empty(0, np.int64), np.empty(0, np.uint16))
    expected = recovery.expect(nothing, stimulus, found)
    assert rows(found.lanes[CHANNEL_BIT]) == rows(expected.lines[CHANNEL_BIT])
    cause = recovery.cause(Mismatch(10, CHANNEL_BIT, 3, 2, 1, 0))
    assert ("separator", "the bit is unknown") == (cause.clause, cause.event)


def windows(ends):
    """Return a core that ends a window in each of these cycles."""
    return observed(0, [change for at in ends for change in ((at, 1), (at + 1, 0))], [])


def steady(count=40):
    """Return where pulses come 14 cycles apart, the n-th written as channel bit n."""
    return [(14 * n, n) for n in range(1, count + 1)]


ENDS = range(21, 700, 14)  # the windows of 40 such pulses, each to end 7 cycles after its pulse


def test_pulses_in_their_windows_are_no_errors():
    """Where each window ends 7 cycles after its pulse the core is locked from the first one on."""
    recovery = Recovery(None)
    recovery.follow(Stimulus(0, 700, pulses=pulses(*steady())), windows(ENDS))
    told = recovery.recovered()
    assert (40, 0, 0, 0) == (told.pulses, told.errors, told.slips, told.lock_cycles)
    assert len(ENDS) == told.bits


def test_a_pulse_in_the_neighbouring_window_is_an_error():
    """A pulse 8 cycles late, past its window's end, is one error; an extra pulse is none."""
    stream = steady()
    stream[19] = (14 * 20 + 8, 20)
    stream.insert(20, (14 * 20 + 10, NO_BIT))
    recovery = Recovery(None)
    recovery.follow(Stimulus(0, 700, pulses=pulses(*stream)), windows(ENDS))
    told = recovery.recovered()
    assert (40, 1, 0) == (told.pulses, told.errors, told.slips)


def test_a_window_too_many_is_a_slip():
    """A bit inserted in the middle moves every pulse after it by one window, which counts once."""
    ends = sorted([*ENDS, 290])
    recovery = Recovery(None)
    recovery.follow(Stimulus(0, 700, pulses=pulses(*steady())), windows(ends))
    told = recovery.recovered()
    assert (1, 1) == (told.errors, told.slips)


def test_latency_moves_the_windows_not_the_pulses():
    """A core that delivers 9 cycles late is judged as one that does not, when that is known."""
    stream = pulses(*steady())
    offsets = {}
    for lag in (0, 9):
        recovery = Recovery(None, 2, lag)
        for first in (0, 350):  # a pulse near the end of a span is judged in the next
            late = [end + 2 + lag for end in ENDS]
            shown = windows([end for end in late if first <= end < first + 350])
            shifted = Observed(
                {n: x.between(first, first + 350) for n, x in shown.lanes.items()}, shown.unknown
            )
            recovery.follow(
                Stimulus(first, 350, pulses=stream.between(first, first + 350)), shifted
            )
        offsets[lag] = recovery.recovered()
    kept = {"bits": 0, "wrong_bits": 0}  # the bits themselves are no subject here
    assert replace(offsets[0], **kept) == replace(offsets[9], **kept)
    assert (0, 0) == (offsets[0].errors, offsets[0].slips)


def test_a_separator_that_follows_nothing_never_locks():
    """With windows of another speed no 16 pulses in a row keep their offset."""
    recovery = Recovery(None)
    stream = pulses(*steady(100))
    recovery.follow(Stimulus(0, 1500, pulses=stream), windows(range(5, 1500, 12)))
    assert recovery.recovered().lock_cycles is None
