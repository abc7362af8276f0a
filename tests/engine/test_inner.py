"""Registers inside the block over a span are what the block holds when it is stepped."""

import itertools

import pytest
from spans import busy_stimulus, inputs_of

from refmodel.block.registers import RegisterBlock
from refmodel.block.settings import Policies
from refmodel.engine.inner import INNER
from refmodel.engine.timeline import Timeline
from refmodel.profile import Profile

REALIGN = ("when_waiting", "always", "never")


@pytest.mark.parametrize(
    ("realign", "seed"), list(itertools.product(REALIGN, range(4))), ids=lambda v: str(v)
)
@pytest.mark.parametrize("edge", ["new", "old"])
def test_inner_lanes_equal_the_stepped_block(realign, seed, edge):
    """Window, count, sync word and control are those of `step` in every cycle of two spans."""
    policies = Policies(realign=realign, same_edge_write=edge)
    profile = Profile(name="t", clock_hz=7093790, channel_bit_ns=2000, policies=policies)
    block, timeline = RegisterBlock(profile), Timeline(profile, INNER)
    modes = set()
    for first, reset in ((0, True), (700, False)):
        stimulus = busy_stimulus(seed, first, 700, level_changes=6, reset=reset)
        expected = timeline.run(stimulus)
        for cycle, inputs in inputs_of(stimulus, block):
            block.step(inputs)
            held = {name: getattr(block.state, name) for name in INNER}
            shown = {name: int(expected.lines[name].at(cycle)) for name in INNER}
            assert held == shown, cycle
            modes.add(held["control"] >> 2 & 1)
    assert {0, 1} == modes  # bytes that start with a 1 (B13) are among them


def test_only_what_is_asked_for_is_told():
    """Without a name no register inside is computed."""
    profile = Profile(name="t", clock_hz=7093790, channel_bit_ns=2000)
    stimulus = busy_stimulus(1, 0, 200)
    assert not INNER.keys() & Timeline(profile).run(stimulus).lines.keys()
    assert INNER.keys() & Timeline(profile, ["window"]).run(stimulus).lines.keys() == {"window"}
