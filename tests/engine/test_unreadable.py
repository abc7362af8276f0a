"""A byte whose flag a read clears before a late status shows it is counted, and no other."""

import numpy as np
import pytest

from refmodel.engine.timeline import Timeline
from refmodel.engine.unreadable import Unreadable, UnreadableBytes
from refmodel.ground.bus import READ_STATUS
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import load_profile

PAL = load_profile("pal_dd")
START = 3  # the last cycle of the first reset
READY = 11  # the edge on which the first byte completes
SPAN = 60
FLAGS, DATA, BOTH = 0xFF00, 0x00FF, 0xFFFF


def counted(reads, lags, mask=BOTH, spans=((0, SPAN),), bytes_done=1):
    """Return what is found of these reads; a channel bit comes on each edge from the fourth on."""
    timeline, found = Timeline(PAL), UnreadableBytes(PAL.status, lags, START)
    bits, at = np.arange(START + 1, START + 1 + 8 * bytes_done), np.array(reads, np.int64)
    for first, end in spans:
        mine, came = at[(at >= first) & (at < end)], bits[(bits >= first) & (bits < end)]
        stimulus = Stimulus(
            first,
            end - first,
            bit_cycle=came,
            bit=np.ones(len(came), np.uint8),
            access_cycle=mine,
            access_kind=np.full(len(mine), READ_STATUS, np.uint8),
            access_mask=np.full(len(mine), mask, np.uint16),
            access_value=np.zeros(len(mine), np.uint16),
            resets=((0, START + 1),) if not first else (),
        )
        found.take(stimulus, timeline.run(stimulus))
    return found.found


@pytest.mark.parametrize("lag", [0, 1, 2, 5])
@pytest.mark.parametrize("late", range(9))
def test_a_byte_is_lost_to_a_read_within_the_latency(lag, late):
    """A read so many edges behind the byte returns it only if status is not as late as that."""
    found = counted([READY + late], {"byte_ready": lag, "data": lag})
    lost = 0 < late <= lag  # on the byte's own edge the byte wins (B5)
    assert found == (Unreadable(1, READY, READY + late, lag) if lost else Unreadable())


@pytest.mark.parametrize(
    ("mask", "lags", "lost"),
    [
        (BOTH, {"byte_ready": 0, "data": 2}, 1),  # ready, with the data of the byte before
        (FLAGS, {"byte_ready": 0, "data": 2}, 0),  # the data are read later
        (DATA, {"byte_ready": 2, "data": 0}, 0),
        (DATA, {"byte_ready": 0, "data": 2}, 1),
        (BOTH, {"data": 2}, 0),  # byte_ready is waived
    ],
)
def test_what_counts_is_the_latency_of_what_the_read_returns(mask, lags, lost):
    """A read of the flags alone needs no data yet."""
    assert counted([READY + 1], lags, mask).count == lost


def test_a_byte_that_overwrites_an_unread_one_is_an_overrun_and_not_counted():
    """The host was too slow: one of two bytes is lost whatever the core does (B5)."""
    late = {"byte_ready": 1, "data": 1}
    assert counted([READY + 9], late, bytes_done=2) == Unreadable()
    assert counted([READY + 4, READY + 9], late, bytes_done=2).count == 1


def test_the_border_of_two_spans_hides_nothing():
    """A byte at the end of a span and the read in the next one are found."""
    late = {"byte_ready": 2, "data": 2}
    for border in range(READY - 1, READY + 4):
        found = counted([READY + 2], late, spans=((0, border), (border, SPAN)))
        assert found == Unreadable(1, READY, READY + 2, 2)
