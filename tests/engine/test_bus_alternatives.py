"""A bus on which no write arrives is tried, and what may be the reason is said."""

import numpy as np
import pytest

from refmodel.engine.bus_alternatives import Decoding, without_writes
from refmodel.engine.evidence import Observed, Reads
from refmodel.engine.trial import Trial
from refmodel.ground.bus import READ_STATUS, WRITE_SYNC_WORD
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import load_profile

NONE = np.empty(0, np.uint16)
ACCESSES = Stimulus(
    0,
    20,
    access_cycle=np.array([5, 9]),
    access_kind=np.array([WRITE_SYNC_WORD, READ_STATUS], np.uint8),
    access_mask=np.array([0xFFFF, 0xFFFF], np.uint16),
    access_value=np.array([0x4489, 0], np.uint16),
)
PLAIN = Trial(
    "",
    ACCESSES,
    load_profile("pal_dd"),
    {},
    Reads(np.empty(0, np.int64), NONE, NONE, NONE),
    4,
    Observed({"sync_equal": Lane.constant(0)}, {}),
)


@pytest.mark.parametrize(
    ("acknowledged", "change"),
    [
        (False, "no write that arrives"),
        (True, "no write that arrives, as with bus.acknowledge active the other way"),
    ],
)
def test_acknowledge_is_named_where_the_core_has_one(acknowledged, change):
    """Reads stay, writes go; the polarity of acknowledge is named only where one is bound."""
    (trial,) = without_writes(PLAIN, Decoding(acknowledged=acknowledged))
    assert change == trial.change
    assert [READ_STATUS] == trial.stimulus.access_kind.tolist()
