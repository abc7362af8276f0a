"""Coverage counts what met in the model, at which distance and in which state."""

import numpy as np

from refmodel.ground.bus import READ_STATUS
from refmodel.ground.stimulus import Stimulus
from refmodel.hunt.coverage import DISTANCES, Coverage, Met
from refmodel.profile import load_profile

PAL = load_profile("pal_dd")


def covered(read_at):
    """Return what met in a run of eight bits at edges 10, 20 .. 80, and one read."""
    cycle = np.arange(10, 81, 10)
    stimulus = Stimulus(
        0,
        100,
        bit_cycle=cycle,
        bit=np.zeros(8, np.uint8),
        access_cycle=np.array([read_at]),
        access_kind=np.array([READ_STATUS], np.uint8),
        access_mask=np.array([0xFFFF], np.uint16),
        access_value=np.zeros(1, np.uint16),
    )
    coverage = Coverage()
    coverage.add(PAL, [stimulus])
    return coverage


def test_read_beside_the_end_of_a_byte():
    """A read two edges behind the eighth bit is at distance +2 from the byte, and from the bit."""
    counts = covered(82).counts
    assert {("bit", "read", 2), ("byte", "read", 2)} == {m[:3] for m in counts}
    assert {"idle"} == {m.state for m in counts}


def test_on_the_same_edge():
    """Distance 0 is the very edge."""
    assert 1 == covered(80).counts[Met("byte", "read", 0, "idle")]


def test_far_apart_is_no_meeting():
    """Five edges between a bit and a read are more than the table holds."""
    assert {} == dict(covered(85).counts)


def test_runs_are_added():
    """Counts of runs counted apart are those of all of them."""
    both = covered(80)
    both += covered(82)
    assert {0: 1, 2: 1} == {
        d: n for d, n in zip(DISTANCES, both.table()["byte", "read"], strict=True) if n
    }


def test_holes_are_told_in_words():
    """What never met is named with its distances; what a core has not is left out."""
    holes = list(covered(80).holes(["status"]))
    assert "never: a read of status -3, -2, -1, +1, +2, +3 from the end of a byte" in holes
    assert "never within 3 edges of each other: a match and a read of status" in holes
    assert not [hole for hole in holes if "transfer" in hole or "gate" in hole]
