"""By how much a bit is off where core and model part, and when that is no matter of cycles.

A channel bit comes every 14 cycles from edge 10 on, so byte k of six completes at edge 108 + 112 k
(B4, plain arithmetic). The host reads 20 cycles later, so byte_ready is up for 20 cycles (B5).
"""

from types import SimpleNamespace

import numpy as np
import pytest
from protect_cases import PAL

from hdl_stubs.defects import load_defects
from refmodel.engine.compare import MEMORY, Mismatch, first_mismatch
from refmodel.engine.evidence import Observed
from refmodel.engine.timeline import Timeline
from refmodel.ground.bus import READ_STATUS
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus
from refmodel.protect.check import ORIGINAL
from refmodel.protect.offset import EXTRA, LOST, OTHER, SHORT, UNSEEN, Offset, offset_of
from refmodel.protect.perturb import EARLY, LATE, LONG
from refmodel.protect.text import wrong_details

DEFECTS = {defect.name: defect for defect in load_defects()}
BYTES = bytes([0x11, 0x22, 0x34, 0x47, 0x44, 0x89])  # the last two equal sync_word (B3)
DONE = [108, 220, 332, 444, 556, 668]
UP = [(done, done + 20) for done in DONE]


def level(*spans):
    """Return a lane that is 1 in these cycles, each span up to its end."""
    changes = [(0, 0), *(change for up, down in spans for change in ((up, 1), (down, 0)))]
    return Lane.of(np.array([c for c, _ in changes]), np.array([v for _, v in changes]))


def values(*changes):
    """Return a lane that is 0 and then has these values from these cycles on."""
    return Lane.of(np.array([0, *(c for c, _ in changes)]), np.array([0, *(v for _, v in changes)]))


def off(field, core, lag=0):
    """Return how a core's field is off."""
    bits = np.unpackbits(np.frombuffer(BYTES, np.uint8))
    reads = np.array(DONE) + 20
    stimulus = Stimulus(
        0,
        800,
        10 + 14 * np.arange(len(bits)),
        bits,
        reads,
        np.full(len(reads), READ_STATUS, np.uint8),
        np.full(len(reads), 0xFFFF, np.uint16),
        np.zeros(len(reads), np.uint16),
    )
    timeline = Timeline(PAL)
    state = timeline.state
    expected = timeline.run(stimulus)
    assert expected.lanes["byte_ready"].cycle.tolist() == [0, *(c for up in UP for c in up)]
    observed = Observed({field: core}, {field: Lane.constant(0)})
    found = first_mismatch(field, expected.lanes[field], core, Lane.constant(0), lag, 1, 800)
    return offset_of(
        SimpleNamespace(
            mismatch=found,
            shown=SimpleNamespace(
                expected=expected, observed=observed, state=state, stimulus=stimulus
            ),
        ),
        PAL,
    )


@pytest.mark.parametrize("cycles", [1, 19, 30, 150])
def test_a_late_flag(cycles):
    """A flag that comes later is late, also behind the read and behind the next byte."""
    core = level(*((up + cycles, up + cycles + 1) for up, _ in UP))
    assert off("byte_ready", core) == Offset(LATE, cycles)


@pytest.mark.parametrize("lag", [0, 2])
@pytest.mark.parametrize("byte", range(6))
def test_a_lost_flag(byte, lag):
    """A flag that comes with the next byte is not 112 cycles late: that of this byte is lost."""
    core = level(*((up + lag, down + lag) for n, (up, down) in enumerate(UP) if n != byte))
    assert off("byte_ready", core, lag) == Offset(LOST)


@pytest.mark.parametrize(
    ("core", "found"),
    [
        (level((105, 128), *UP[1:]), Offset(EARLY, 3)),
        (level(UP[0], (150, 160), *UP[1:]), Offset(EXTRA)),
        (level(*UP, (700, 710)), Offset(EXTRA)),
        (level((10, 20), *UP[5:]), Offset(EARLY, 98)),
        (level((108, 133), *UP[1:]), Offset(LONG, 5)),
        (level((108, 110), *UP[1:]), Offset(SHORT)),
    ],
)
def test_a_flag_otherwise_off(core, found):
    """Too soon, one too many, up too long and down too soon are told apart."""
    assert off("byte_ready", core) == found


@pytest.mark.parametrize(("up", "found"), [(200, Offset(EARLY, 468)), (8, Offset(EXTRA))])
def test_how_far_off_is_early(up, found):
    """What comes further ahead of a match than the 512 cycles that are tried is one too many."""
    assert off("sync_equal", level((up, up + 14))) == found


@pytest.mark.parametrize(
    ("changes", "found"),
    [
        ([(108, 0x11), (223, 0x22)], Offset(LATE, 3)),
        ([(108, 0x11), (332, 0x34)], Offset(LOST)),
        ([(108, 0x11), (200, 0x22)], Offset(EARLY, 20)),
        ([(108, 0x11), (220, 0x44)], Offset(OTHER)),
        ([(108, 0x11), (200, 0x44)], Offset(OTHER)),
    ],
)
def test_data_that_is_off(changes, found):
    """A byte is late or early with the right value, lost when the old one stays, else wrong."""
    assert off("data", values(*changes)) == found


@pytest.mark.parametrize(
    ("field", "through", "kind"), [("byte_ready", "read", UNSEEN), (MEMORY, "slot", OTHER)]
)
def test_what_no_lane_shows(field, through, kind):
    """What only reads show, or a memory slot moves, cannot be counted in cycles."""
    finding = SimpleNamespace(
        mismatch=Mismatch(128, field, 1, 0, 0, 0, through),
        shown=SimpleNamespace(
            expected=SimpleNamespace(lanes={}, lines={}), observed=Observed({}, {})
        ),
    )
    assert offset_of(finding, PAL) == Offset(kind)


def test_a_lost_byte_is_not_called_late(matrix_of):
    """A byte that never comes has no number of cycles to hold against those allowed."""
    lost = DEFECTS["realign_drops_the_byte"]
    change = (lost.file, lost.replace, lost.replacement)
    (wrong,) = matrix_of([change], ["odd_sectors"], [ORIGINAL]).wrong
    told = dict(wrong_details(wrong))
    assert told["timing"] == "lost, not late: the byte_ready due here never comes"
    assert "tolerance" not in told


@pytest.mark.rest
def test_a_late_byte_is_counted(matrix_of):
    """A flag a cycle late is told so, beside what the check allows."""
    late = DEFECTS["ready_sets_late"]
    changes = [(late.file, late.replace, late.replacement)]
    matrix = matrix_of(changes, ["odd_sectors"], [ORIGINAL])
    (cell,) = [cell for cell in matrix.cells if cell.blame]
    assert cell.blame.off == Offset(LATE, 1)
