"""A finding reaches back: what still matters, what the whole span tells, which binding would agree.

The core is the model itself, given what a core gets whose binding is wrong; no simulator runs.
"""

from dataclasses import replace

import numpy as np
import pytest

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.engine.alternatives import tried
from refmodel.engine.comparison import Comparison, Held
from refmodel.engine.evidence import Observed, Reads
from refmodel.engine.timeline import Timeline
from refmodel.ground.lane import Lane
from refmodel.profile import load_profile
from refmodel.world.find import find_scenario
from refmodel.world.spans import disk_of, spans_of

PAL = load_profile("pal_dd")
NO_LAG = dict.fromkeys((*FIELD_NAMES, UNUSED), 0)


class Core:
    """A core that is the model, with inputs and outputs as `inputs` and `outputs` change them."""

    def __init__(self, inputs=None, outputs=None, profile=PAL, straight=""):
        self.inputs = inputs or (lambda stimulus: stimulus)
        self.outputs = outputs or (lambda lanes: lanes)
        self.timeline = Timeline(profile)
        self.straight = straight

    def take(self, stimulus):
        """Play a span into the core."""
        self.stimulus = stimulus
        self.expected = self.timeline.run(self.inputs(stimulus))

    def observed(self, first, _end):
        """Return what the core shows."""
        lanes = self.outputs(self.expected.lanes)
        return Observed(lanes, {name: Lane.constant(0, first) for name in lanes})

    def reads(self, _stimulus):
        """Return what its reads return; a straight level shows as it is at the edge."""
        cycle, lanes = self.expected.read_cycle, self.outputs(self.expected.lanes)
        value = np.zeros(len(cycle), np.uint16)
        for bit in PAL.status.fields:
            at = np.maximum(cycle - 1, lanes[bit.name].cycle[0])
            value |= lanes[bit.name].at(at).astype(np.uint16) << np.uint16(bit.lsb)
        if self.straight:
            bit = PAL.status[self.straight]
            level = self.stimulus.level(self.straight).at(cycle).astype(np.uint16)
            value = value & np.uint16(0xFFFF ^ bit.mask) | level << np.uint16(bit.lsb)
        zero = np.zeros_like(value)
        return Reads(cycle, np.full(len(value), 0xFFFF, np.uint16), value, zero)

    def moves(self, _end):
        """Return nothing: no memory is bound."""


def finding_of(core, scenario="quick/random", lags=NO_LAG):
    """Compare a core through a scenario; return the finding, with what was tried on it."""
    path, found = find_scenario(scenario)
    disk = disk_of(path, found, PAL, 1)
    comparison = Comparison(PAL, Held(lags, start=disk.start - 1), disk)
    for span in spans_of(path, disk):
        core.take(span.stimulus)
        if comparison.take(span.stimulus, core):
            break
    finding = comparison.found().finding
    return finding and replace(finding, tried=tried(finding, PAL, lags))


def agreeing(finding):
    """Return the changes with which the span agrees."""
    return [one.change for one in finding.tried if one.agrees]


def turned(name):
    """Return what gives a core a level the other way round."""

    def inputs(stimulus):
        lane = stimulus.level(name)
        return replace(stimulus, levels={**stimulus.levels, name: Lane(lane.cycle, 1 - lane.value)})

    return inputs


def in_reset(stimulus):
    """Keep a core in reset but while it should be."""
    begins = [stop for _, stop in stimulus.resets] or [stimulus.first]
    ends = [*(start for start, _ in stimulus.resets[1:]), stimulus.end]
    return replace(stimulus, resets=tuple(zip(begins, ends, strict=True)))


def later(cycles, *names):
    """Return what shows some fields late."""
    return lambda lanes: {
        name: Lane.constant(int(lane.value[0])).then(lane.delayed(cycles))
        if name in names
        else lane
        for name, lane in lanes.items()
    }


@pytest.mark.parametrize(
    ("core", "change"),
    [
        (Core(outputs=later(2, "sync_equal")), "latency: {sync_equal: 2}"),
        (Core(outputs=later(2, "data")), "latency: {data: 2}"),
        (Core(turned("wait_for_sync")), "inputs.wait_for_sync active the other way"),
        (Core(turned("dma_active")), "inputs.dma_active active the other way"),
        (Core(in_reset), "reset.active the other way"),
        (
            Core(lambda s: s.with_bits(s.bit_cycle, 1 - s.bit)),
            "disk.value active the other way",
        ),
        (
            Core(profile=PAL.with_policies({"ready_tie": "clear_wins"})),
            "policy ready_tie=clear_wins",
        ),
    ],
)
def test_change_that_would_agree_is_named(core, change):
    """Of all changes of binding and policies only the right one agrees with the core."""
    assert [change] == agreeing(finding_of(core))


def test_latency_too_many_is_named():
    """A binding that allows a cycle the core does not take is told so."""
    lags = dict.fromkeys(NO_LAG, 1)
    assert ["latency: {status: 0}"] == agreeing(finding_of(Core(), lags=lags))


def test_no_change_explains_a_defect():
    """A core that is wrong, not bound wrongly, agrees with none of them; each was tried."""
    stuck = Core(outputs=lambda lanes: {**lanes, "sync_equal": Lane.constant(0)})
    finding = finding_of(stuck)
    assert [] == agreeing(finding)
    assert len(finding.tried) > 15


def test_earlier_events_that_matter_are_listed():
    """The last write of sync_word, the last match and the reset stand with a framing mismatch."""
    never = Core(profile=PAL.with_policies({"realign": "never"}))
    finding = finding_of(never)
    told = [(event.what, event.cycle, event.value) for event in finding.earlier]
    assert [("reset", 3, 0), ("sync_word", 152, 0x4489), ("match", 670, 1)] == told


def test_shift_from_the_match_on_is_named():
    """A core that did not realign completes its bytes so many channel bits late from there on."""
    never = Core(profile=PAL.with_policies({"realign": "never"}))
    (told,) = finding_of(never).symptoms
    assert "the core completes its bytes 1 channel bit late from the match at cycle 670 on" == told


def test_lost_byte_is_a_shift_of_eight():
    """A core whose data comes a whole byte late is told to be 8 channel bits late."""

    def slow(lanes):
        lane = lanes["data"]
        cycles = np.append(lane.cycle[:9], lane.cycle[10:])
        return {**lanes, "data": Lane.of(cycles, lane.value[:-1])}

    (told,) = finding_of(Core(outputs=slow)).symptoms
    assert told.startswith("the core completes its bytes 8 channel bits late from ")


def test_dead_core_is_called_dead():
    """Outputs that never change are said to, once, and nothing is guessed from them."""
    dead = Core(outputs=lambda lanes: {name: Lane.constant(0) for name in lanes})
    dead.reads = lambda _stimulus: Reads(*(np.empty(0, t) for t in (np.int64, *[np.uint16] * 3)))
    (told,) = finding_of(dead).symptoms
    assert told.startswith("no compared output ever changed in this revolution")


@pytest.mark.parametrize(("field", "clause"), [("dma_active", "B6"), ("writing", "B7")])
def test_straight_level_breaks_its_own_clause(field, clause):
    """A read that shows a level as it is at its edge breaks B6 or B7, not the read's B5."""
    finding = finding_of(Core(straight=field))
    assert (field, "read", clause) == (
        finding.mismatch.field,
        finding.mismatch.through,
        finding.cause.clause,
    )
    assert f"{field} follows its input in the same cycle" in finding.symptoms[0]
    assert f"inputs.{field}.path: straight" in finding.symptoms[0]
