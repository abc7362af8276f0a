"""What counts as a difference between core and model, and that no read is passed over."""

import numpy as np
import pytest

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.engine.compare import SpanChecker, differences
from refmodel.engine.evidence import Observed, Reads
from refmodel.engine.timeline import Timeline
from refmodel.ground.bus import READ_STATUS
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import load_profile

PAL = load_profile("pal_dd")
FIRST = 3  # the last cycle of reset
SPAN = 20


def spans(wrong):
    """Yield what two spans have the model show, and reads in every cycle; one returns too much."""
    timeline = Timeline(PAL)
    for first in (0, SPAN):
        cycle = np.arange(first, first + SPAN)
        stimulus = Stimulus(
            first,
            SPAN,
            bit_cycle=cycle[::2],
            bit=np.ones(SPAN // 2, np.uint8),
            access_cycle=cycle,
            access_kind=np.full(SPAN, READ_STATUS, np.uint8),
            access_mask=np.full(SPAN, 0xFFFF, np.uint16),
            access_value=np.zeros(SPAN, np.uint16),
            resets=((0, FIRST + 1),) if not first else (),
        )
        expected = timeline.run(stimulus)
        value = expected.read_value ^ (cycle == wrong).astype(np.uint16)
        yield expected, Reads(cycle, stimulus.access_mask, value, np.zeros(SPAN, np.uint16))


@pytest.mark.parametrize("wrong", range(FIRST + 1, 2 * SPAN))
def test_every_wrong_read_is_found(wrong):
    """A wrong read is found in each cycle behind reset, the first of a revolution among them."""
    checker = SpanChecker(PAL.status, dict.fromkeys((*FIELD_NAMES, UNUSED), 0), FIRST)
    found = []
    for expected, reads in spans(wrong):
        lanes = expected.lanes
        observed = Observed(lanes, {name: Lane.constant(0, expected.first) for name in lanes})
        found.append(checker.check(expected, observed, reads))
    assert [wrong] == [d.cycle for d in found if d]
    assert 2 * SPAN - 1 - FIRST == checker.reads_compared


@pytest.mark.parametrize(
    ("core", "unknown", "since", "marked"),
    [
        ([(0, 1), (9, 0)], [(0, 0)], 0, [(0, 1), (9, 0)]),
        ([(0, 1), (9, 0)], [(0, 0)], 5, [(0, 0), (5, 1), (9, 0)]),
        ([(0, 0)], [(0, 0), (20, 1), (22, 0)], 5, [(0, 0), (20, 1), (22, 0)]),
    ],
)
def test_differences_since_comparing_began(core, unknown, since, marked):
    """From the first compared cycle on, what differs or is unknown is marked; before it nothing."""
    lanes = (Lane.of(*map(np.array, zip(*lane, strict=True))) for lane in (core, unknown))
    found = differences(Lane.constant(0), *lanes, since)
    assert marked == list(zip(found.cycle.tolist(), found.value.tolist(), strict=True))
