"""In the aimed suite any two events that can meet on an edge come at every distance around it."""

import numpy as np
import pytest

from refmodel.ground.bus import WRITE_CONTROL, WRITE_SYNC_WORD, WRITE_TRANSFER
from refmodel.ground.same_edge import MEETINGS, Event
from refmodel.profile import load_profile
from refmodel.world.find import find_suite
from refmodel.world.spans import disk_of, spans_of

PAL = load_profile("pal_dd")
REACH = range(-3, 4)
PAIRS = sorted({(m.first, m.second) for m in MEETINGS})


def edges_of(stimulus, slots):
    """Return the edges of each event in a stimulus."""
    writes = [
        edge
        for kind in (WRITE_SYNC_WORD, WRITE_TRANSFER, WRITE_CONTROL)
        for edge, _, _ in stimulus.writes(kind)
    ]
    every = np.arange(stimulus.first, stimulus.end)
    resets = [np.arange(*span) for span in stimulus.resets if span[0] > 100]
    return {
        Event.RESET: np.concatenate([*resets, np.empty(0, np.int64)]),
        Event.WRITE: np.array(sorted(writes), np.int64),
        Event.SLOT: every[np.isin(every % slots.line_cycles, slots.at)],
        Event.BIT: stimulus.bit_cycle,
        Event.READ: stimulus.clearing_reads,
    }


@pytest.fixture(scope="module")
def distances():
    """Return for each pair how far the second came behind the first, within reach."""
    found = {pair: set() for pair in PAIRS}
    for path, scenario in find_suite("aimed"):
        disk = disk_of(path, scenario, PAL, 1)
        for span in spans_of(path, disk):
            edges = edges_of(span.stimulus, disk.profile.slots)
            for first, second in PAIRS:
                for distance in REACH:
                    if np.isin(edges[first] + distance, edges[second]).any():
                        found[first, second].add(distance)
    return found


@pytest.mark.parametrize("pair", PAIRS, ids="-".join)
def test_pair_comes_at_every_distance(pair, distances):
    """The two events come on one edge, and up to three edges apart in either order.

    But for two accesses on one edge: a host has one bus.
    """
    one_bus = {0} if pair == (Event.WRITE, Event.READ) else set()
    assert distances[pair] == set(REACH) - one_bus
