"""What a late field may show around resets, held against a register chain stepped by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refmodel.engine.compare import SpanChecker, differences, first_mismatch
from refmodel.engine.evidence import Observed, Reads
from refmodel.engine.timeline import Timeline
from refmodel.ground.bus import READ_STATUS
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import load_profile

PAL = load_profile("pal_dd")
END, SPAN = 40, 20
VALUES = st.lists(st.integers(0, 3), min_size=END, max_size=END)
RESETS = st.lists(st.integers(0, 1), min_size=END, max_size=END)


def lane_of(values):
    """Return the lane of a value a cycle."""
    return Lane.of(np.arange(len(values)), np.array(values, np.uint32))


def chain(values, resets, lag, clears):
    """Return what a chain of `lag` registers shows; an edge in reset clears those in `clears`."""
    stages, shown, before = [0] * lag, [], 0
    for value, reset in zip(values, resets, strict=True):
        stages = [before, *stages][:lag]
        stages = [0 if reset and clears >> n & 1 else held for n, held in enumerate(stages)]
        shown.append([value, *stages][lag])
        before = value
    return shown


@given(VALUES, RESETS, st.integers(0, 3), st.integers(0, 7))
def test_a_chain_agrees_whichever_of_its_registers_reset_clears(values, resets, lag, clears):
    """A model that is 0 in reset, seen through registers of which reset clears any, agrees."""
    values = [0 if reset else value for value, reset in zip(values, resets, strict=True)]
    shown = lane_of(chain(values, resets, lag, clears))
    begins = [n for n in range(END) if resets[n] and not (n and resets[n - 1])]
    none = Lane.constant(0)
    model = lane_of(values)
    assert first_mismatch("data", model, shown, none, lag, lag, END, resets=begins) is None
    wrong = differences(model, shown, none, lag, lag, begins)
    assert not wrong.between(lag, END).value.any()


@pytest.mark.parametrize("cycle", range(8, 16))
@pytest.mark.parametrize("value", range(4))
def test_only_the_cycles_of_the_latency_are_open(cycle, value):
    """From the cycle in which reset begins, as long as the latency, either value alone is right."""
    model = lane_of([3] * 10 + [0] * 30)
    late = [3] * 12 + [0] * 28
    late[cycle] = value
    right = {10: (3, 0), 11: (3, 0)}.get(cycle, (3 if cycle < 10 else 0,))
    found = first_mismatch("data", model, lane_of(late), Lane.constant(0), 2, 2, END, resets=[10])
    assert (found is None) == (value in right)
    assert found is None or (found.cycle, found.observed) == (cycle, value)


@pytest.mark.parametrize(("begin", "wrong"), [([0, 0], None), ([1, 0], None), ([1, 1], SPAN + 1)])
def test_a_reset_at_the_end_of_a_span_is_known_in_the_next(begin, wrong):
    """A lane and a read of it are open across the border of two spans, as long as the latency."""
    checker = SpanChecker(PAL.status, {"dma_active": 2}, 3)
    first = span(0, ((0, 4), (SPAN - 1, SPAN)), [])
    second = span(SPAN, (), [SPAN + 1])
    found = []
    shown = [[0] * 6 + [1] * (SPAN - 7) + [0], begin + [1] * (SPAN - 2)]
    timeline = Timeline(PAL)
    for stimulus, values in zip((first, second), shown, strict=True):
        lane = lane_of(values)
        lanes = {"dma_active": Lane(lane.cycle + stimulus.first, lane.value)}
        observed = Observed(lanes, {"dma_active": Lane.constant(0, stimulus.first)})
        at, mask = stimulus.access_cycle, stimulus.access_mask
        reads = Reads(at, mask, (mask & 0) | np.uint16(begin[0] << 14), mask & 0)
        expected = timeline.run(stimulus)
        found.append(checker.check(expected, observed, reads, None, stimulus.reset_begins))
    assert [None, wrong] == [m and m.cycle for m in found]


def span(first, resets, reads):
    """Return a span with dma_active up, these resets and these reads of status."""
    return Stimulus(
        first,
        SPAN,
        levels={"dma_active": Lane.constant(1, first)},
        resets=resets,
        reset_before=int(first > 0),
        access_cycle=np.array(reads, np.int64),
        access_kind=np.full(len(reads), READ_STATUS, np.uint8),
        access_mask=np.full(len(reads), 0xFFFF, np.uint16),
        access_value=np.zeros(len(reads), np.uint16),
    )
