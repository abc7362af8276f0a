"""In the aimed suite whatever can meet on an edge meets at every distance around it."""

import pytest

from refmodel.engine.meetings import DISTANCES, NEEDS, ON_THE_BUS, Meetings
from refmodel.engine.unmet import Reachable, unmet
from refmodel.profile import load_profile
from refmodel.world.find import find_suite
from refmodel.world.spans import disk_of, spans_of

PAL = load_profile("pal_dd")
ALL = Reachable(frozenset(NEEDS.values()))
CROWDED = ("dense", "dense_resets", "words")  # the others add what takes longer
STATES = ("idle", "armed", "waiting for a match", "reading", "write started", "writing")


@pytest.fixture(scope="module")
def met():
    """Return what met in the scenarios with a channel bit every few cycles, on the model."""
    found = Meetings()
    for path, scenario in find_suite("aimed"):
        if scenario.name not in CROWDED:
            continue
        disk = disk_of(path, scenario, PAL, 1)
        run = Meetings()
        for span in spans_of(path, disk):
            run.take(span.stimulus, span.expected, disk.profile.slots)
        found += run
    return found


def test_every_pair_meets_at_every_distance(met):
    """Of all that a core can make meet nothing is left out, from three edges before to behind."""
    assert [] == [pair.described() for pair in unmet(met, ALL)]


@pytest.mark.parametrize("access", sorted(ON_THE_BUS))
@pytest.mark.parametrize("other", ["bit", "byte", "slot"])
def test_accesses_meet_in_every_state(met, access, other):
    """Accesses come around bits, bytes and slots whatever the transfer does."""
    table = met.table()
    pair = table.get((access, other)) or table[other, access]
    for state in ("reading", "writing") if other == "slot" else STATES:
        came = dict(zip(DISTANCES, pair[state], strict=True))
        if access == "write_transfer":  # what it starts or stops is in another state behind it
            came = {d: n for d, n in came.items() if d >= 0}
        assert all(came.values()), (state, came)
