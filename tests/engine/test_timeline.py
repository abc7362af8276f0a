"""The timeline equals the register block stepped edge by edge, for every policy combination."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refmodel.block.profile import Policies, Profile, ResetValues
from refmodel.block.registers import Inputs, RegisterBlock
from refmodel.engine.edges import edges
from refmodel.engine.lane import Lane
from refmodel.engine.stimulus import Stimulus
from refmodel.engine.timeline import Timeline
from refmodel.host.bus import READ_OTHER, READ_STATUS, WRITE_SYNC_WORD

POLICIES = [
    Policies(sync_view=view, realign=realign, ready_tie=tie)
    for view, realign, tie in itertools.product(
        ("live", "registered"), ("when_waiting", "always", "never"), ("set_wins", "clear_wins")
    )
]
SYNC_WORDS = (0x4489, 0x8912, 0x0000, 0xFFFF, 0xAAAA)


def inputs_of(stimulus):
    """Spread a stimulus out into the block's inputs at each of its edges."""
    bits = dict(zip(stimulus.bit_cycle.tolist(), stimulus.bit.tolist(), strict=True))
    accesses = dict(
        zip(
            stimulus.access_cycle.tolist(),
            zip(
                stimulus.access_kind.tolist(),
                stimulus.access_mask.tolist(),
                stimulus.access_value.tolist(),
                strict=True,
            ),
            strict=True,
        )
    )
    for cycle in range(stimulus.first, stimulus.end):
        kind, mask, value = accesses.get(cycle, (None, 0, 0))
        yield (
            cycle,
            Inputs(
                reset=int(any(a <= cycle < b for a, b in stimulus.resets)),
                bit_strobe=int(cycle in bits),
                bit=bits.get(cycle, 0),
                read_status=int(kind == READ_STATUS),
                write_sync_word=mask if kind == WRITE_SYNC_WORD else 0,
                sync_word=value,
                **{name: int(lane.at(cycle)) for name, lane in stimulus.levels.items()},
            ),
        )


def stepped(block, stimulus):
    """Return the status word of each cycle and the value of each read, from `step`."""
    words, reads = [], []
    for cycle, inputs in inputs_of(stimulus):
        if inputs.read_status:
            reads.append((cycle, block.status))
        words.append(block.step(inputs))
    return words, reads


def expanded(expected, layout):
    """Return the status word of each cycle from a timeline's change lists."""
    cycles = np.arange(expected.first, expected.end)
    words = np.zeros(len(cycles), np.uint32)
    for field in layout.fields:
        words |= expected.lanes[field.name].at(cycles) << np.uint32(field.lsb)
    return words.tolist()


@st.composite
def stimuli(draw, first=0, cycles=300):
    """Random bits, reads, sync rewrites, levels and resets; dense enough for every collision."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    span = np.arange(first, first + cycles)
    bit_cycle = span[rng.random(cycles) < draw(st.sampled_from((0.07, 0.5, 1.0)))]
    access_cycle = span[rng.random(cycles) < draw(st.sampled_from((0.0, 0.1, 0.6)))]
    kinds = draw(st.sampled_from(((READ_STATUS,), (READ_STATUS, WRITE_SYNC_WORD, READ_OTHER))))
    bits = rng.integers(0, 2, len(bit_cycle))
    mark = np.array([int(b) for b in f"{draw(st.sampled_from(SYNC_WORDS)):016b}"])
    if len(bits) > 40:
        bits[20:36] = mark
    levels = {}
    for name in ("dma_active", "writing", "wait_for_sync"):
        changes = np.concatenate(([first], np.sort(rng.integers(first, first + cycles, 6))))
        levels[name] = Lane.of(changes, rng.integers(0, 2, 7))
    start = int(rng.integers(first, first + cycles))
    resets = draw(st.sampled_from(((), ((start, min(start + 5, first + cycles)),))))
    return Stimulus(
        first,
        cycles,
        bit_cycle,
        bits.astype(np.uint8),
        access_cycle,
        rng.choice(kinds, len(access_cycle)).astype(np.uint8),
        rng.choice((0xFFFF, 0xFF00, 0x00FF), len(access_cycle)).astype(np.uint16),
        rng.choice(SYNC_WORDS, len(access_cycle)).astype(np.uint16),
        levels,
        resets,
    )


@pytest.mark.parametrize("policies", POLICIES, ids=lambda p: "-".join(p.model_dump().values()))
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_timeline_equals_step(policies, data):
    """Every status word, every read and the state carried on equal the stepped block's."""
    reset = ResetValues(
        byte_ready=data.draw(st.integers(0, 1)),
        bit_count=data.draw(st.integers(0, 7)),
        sync_word=data.draw(st.sampled_from(SYNC_WORDS)),
    )
    profile = Profile(
        name="test", clock_hz=7093790, channel_bit_ns=2000, policies=policies, reset=reset
    )
    block, timeline = RegisterBlock(profile), Timeline(profile)
    for first in (0, 300):
        stimulus = data.draw(stimuli(first))
        words, reads = stepped(block, stimulus)
        expected = timeline.run(stimulus)
        assert words == expanded(expected, profile.status)
        got = zip(expected.read_cycle.tolist(), expected.read_value.tolist(), strict=True)
        assert reads == list(got)
        assert block.state == timeline.state


@settings(max_examples=100, deadline=None)
@given(stimulus=stimuli(), policies=st.sampled_from(POLICIES))
def test_edges_skip_nothing(stimulus, policies):
    """Stepping only the edges on which something arrives shows every change `step` shows."""
    profile = Profile(name="test", clock_hz=7093790, channel_bit_ns=2000, policies=policies)
    words, _ = stepped(RegisterBlock(profile), stimulus)
    block = RegisterBlock(profile)
    shown = np.full(stimulus.cycles, block.status)
    for edge in edges(block, stimulus):
        assert edge.after == block.state
        shown[edge.cycle - stimulus.first :] = edge.status_after
    assert words == shown.tolist()
