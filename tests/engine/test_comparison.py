"""A run is compared without a simulator: the evidence is whatever was recorded."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.engine.comparison import Comparison, Held
from refmodel.engine.evidence import ALL_BITS, Observed, Reads
from refmodel.engine.timeline import Timeline
from refmodel.ground.lane import Lane
from refmodel.profile import load_profile
from refmodel.world.find import find_scenario
from refmodel.world.spans import disk_of, spans_of

PAL = load_profile("pal_dd")
NO_LAG = dict.fromkeys((*FIELD_NAMES, UNUSED), 0)
RISE, FALL = 685, 699  # of sync_equal, second match of quick/sync_poll


@dataclass
class Recorded:
    """The model's own lanes as a record; `changes` replaces some of them."""

    changes: dict
    undecided: dict
    read_undecided: int = 0

    def __post_init__(self):
        self.timeline = Timeline(PAL)

    def observed(self, first, end):
        """Return what was recorded of the span at hand."""
        assert (first, end) == (self.expected.first, self.expected.end)
        lanes = {**self.expected.lanes, **self.changes}
        unknown = {name: Lane.constant(0, first) for name in lanes}
        return Observed(lanes, unknown, self.undecided)

    def reads(self, _stimulus):
        """Return what the reads returned."""
        value = self.expected.read_value ^ np.uint16(self.read_undecided)
        whole = np.full(len(value), 0xFFFF, np.uint16)
        undecided = np.full(len(value), self.read_undecided, np.uint16)
        return Reads(self.expected.read_cycle, whole, value, np.zeros_like(value), undecided)

    def moves(self, _end):
        """Return nothing: no memory was recorded."""

    def stimuli(self, spans):
        """Yield the stimuli, with the model's lanes at hand for each."""
        for span in spans:
            self.expected = span.expected
            yield span.stimulus


def compared(changes=(), undecided=(), read_undecided=0):
    """Compare a record of quick/sync_poll."""
    path, scenario = find_scenario("quick/sync_poll")
    disk = disk_of(path, scenario, PAL, 1)
    record = Recorded(dict(changes), dict(undecided), read_undecided)
    comparison = Comparison(PAL, Held(NO_LAG, start=disk.start - 1), disk)
    return comparison.run(record.stimuli(spans_of(path, disk)), record)


def late(cycles):
    """Return the second match of the disk with its fall some cycles late, and no other."""
    return Lane.of(np.array([0, RISE, FALL + cycles]), np.array([0, 1, 0]))


def test_the_models_own_record_agrees():
    """Every cycle and every read counts, and how often each field changed."""
    found = compared()
    assert found.finding is None
    assert found.cycles > 10_000
    assert found.reads == found.fields["byte_ready"].reads > 100
    assert found.fields["sync_equal"].changes > 2
    assert found.fields["dma_active"].changes == 0
    assert {f.cycles for f in found.fields.values()} == {found.cycles}


def test_a_mismatch_is_found_with_place_and_cause():
    """The finding is the one a lockstep run would give."""
    mismatch = compared({"sync_equal": Lane.constant(0)}).finding
    assert mismatch.cause.clause == "B3"
    assert "of the track" in mismatch.place
    assert mismatch.accesses


def test_undecided_cycles_are_neither_right_nor_wrong():
    """A lane that is wrong only where the record cannot tell is no mismatch, and counts less."""
    gone = {"sync_equal": Lane.constant(0)}
    found = compared(gone, {"sync_equal": Lane.constant(ALL_BITS)})
    assert found.finding is None
    assert found.fields["sync_equal"].cycles == 0
    part = Lane.of(np.array([0, RISE]), np.array([ALL_BITS, 0], np.uint32))
    found = compared(gone, {"sync_equal": part})
    assert found.finding.mismatch.cycle == RISE


def test_undecided_bits_of_a_read_are_left_out():
    """A read differs only in bits that are not decided."""
    found = compared(read_undecided=0x1000)
    assert found.finding is None
    assert found.fields["sync_equal"].reads == 0
    assert found.fields["byte_ready"].reads == found.reads


@pytest.mark.parametrize("name", ["data", "byte_ready"])
def test_a_latency_takes_the_start_from_its_own_field_only(name):
    """The other fields are compared from the end of reset on."""
    path, scenario = find_scenario("quick/sync_poll")
    disk = disk_of(path, scenario, PAL, 1)
    record = Recorded({}, {})
    comparison = Comparison(PAL, Held({**NO_LAG, name: 3000}, start=disk.start - 1), disk)
    shift = {}

    def stimuli():
        for stimulus in record.stimuli(spans_of(path, disk)):
            lane = record.expected.lanes[name]
            moved = replace(lane, cycle=np.append(0, lane.cycle[1:] + 3000))
            shift[name] = moved
            record.changes = shift
            yield stimulus

    found = comparison.run(stimuli(), record)
    assert found.fields[name].cycles + 3000 == found.fields["sync_equal"].cycles == found.cycles
