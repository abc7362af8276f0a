"""The timeline equals the register block stepped edge by edge, for every policy combination."""

import itertools
import random
from itertools import zip_longest
from typing import get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from spans import SYNC_WORDS, busy_stimulus, inputs_of, shown_of

from refmodel.block.registers import RegisterBlock
from refmodel.block.settings import Policies, ResetValues
from refmodel.engine.edges import edges
from refmodel.engine.timeline import LINES, Timeline
from refmodel.profile import Profile

CHOICES = {name: get_args(key.annotation) for name, key in Policies.model_fields.items()}
POLICIES = st.builds(Policies, **{name: st.sampled_from(c) for name, c in CHOICES.items()})


def covering(strength=2):
    """Return policies that have every combination of `strength` choices in one of them at least."""
    rng = random.Random(1)
    names = list(CHOICES)
    wanted = {
        tuple(zip(some, values, strict=True))
        for some in itertools.combinations(names, strength)
        for values in itertools.product(*(CHOICES[name] for name in some))
    }
    found = []
    while wanted:
        tries = [dict(min(wanted)) for _ in range(30)]
        for one in tries:
            for name in rng.sample(names, len(names)):
                one.setdefault(name, rng.choice(CHOICES[name]))
        best = max(tries, key=lambda one: sum(one.items() >= set(w) for w in wanted))
        wanted -= {w for w in wanted if best.items() >= set(w)}
        found.append(Policies(**best))
    return found


COVERING = covering()
SCHEDULES = ((7, (0,)), (20, (3, 11)), (50, (1, 2, 3)), (454, (40, 191, 342)))


def profile_of(**keys):
    """Return a profile of 7.09379 MHz with these keys."""
    return Profile(name="test", clock_hz=7093790, channel_bit_ns=2000, **keys)


@st.composite
def profiles(draw, policies=None):
    """Draw a profile with small numbers, so that much happens in few cycles."""
    line, at = draw(st.sampled_from(SCHEDULES))
    return profile_of(
        policies=policies or draw(POLICIES),
        reset=ResetValues(
            byte_ready=draw(st.integers(0, 1)),
            bit_count=draw(st.integers(0, 7)),
            sync_word=draw(st.sampled_from(SYNC_WORDS)),
        ),
        arming_writes=draw(st.sampled_from((2, 1))),
        fifo_words=draw(st.sampled_from((3, 1, 2))),
        slots={"line_cycles": line, "at": at},
        write_bit_cycles=draw(st.sampled_from((9, 10))),
    )


@st.composite
def stimuli(draw, first=0, cycles=300, direction=None):
    """Draw bits, accesses of every kind, levels and resets; dense enough for every collision."""
    return busy_stimulus(
        draw(st.integers(0, 2**32)),
        first,
        cycles,
        bit_share=draw(st.sampled_from((0.07, 0.5, 1.0))),
        access_share=draw(st.sampled_from((0.0, 0.005, 0.02, 0.1, 0.6))),
        mark=draw(st.sampled_from(SYNC_WORDS)),
        level_changes=draw(st.sampled_from((0, 1, 6))),
        reset=draw(st.booleans()),
        direction=direction,
    )


def stepped(block, stimulus):
    """Return what the block shows in each cycle, each read and each move, from `step`."""
    shown, reads, moves = [], [], []
    for cycle, inputs in inputs_of(stimulus, block):
        if inputs.read_status:
            reads.append((cycle, block.status))
        block.step(inputs)
        shown.append(shown_of(block))
        if block.moved:
            moves.append((cycle, *block.moved))
    return shown, reads, moves


def expanded(expected, layout):
    """Return the same from a timeline's change lists."""
    cycles = np.arange(expected.first, expected.end)
    words = np.zeros(len(cycles), np.uint32)
    for field in layout.fields:
        words |= expected.lanes[field.name].at(cycles) << np.uint32(field.lsb)
    rows = [words, *(expected.lines[name].at(cycles) for name in LINES)]
    reads = zip(expected.read_cycle.tolist(), expected.read_value.tolist(), strict=True)
    moves = expected.moves
    columns = (moves.cycle, moves.place, moves.word, moves.store)
    return (
        [tuple(row) for row in np.array(rows).T.tolist()],
        list(reads),
        list(zip(*(column.tolist() for column in columns), strict=True)),
    )


def check_equal(profile, spans):
    """Assert that step and timeline show, read, move and remember the same through the spans."""
    block, timeline = RegisterBlock(profile), Timeline(profile)
    for stimulus in spans:
        both = stepped(block, stimulus), expanded(timeline.run(stimulus), profile.status)
        for model, fast in zip(*both, strict=True):  # what is shown, the reads, the moves
            rows = enumerate(zip_longest(model, fast))
            assert next(((n, a, b) for n, (a, b) in rows if a != b), None) is None
        assert block.state == timeline.state


@settings(max_examples=300)
@given(data=st.data())
def test_timeline_equals_step(data):
    """Every output in every cycle, every read, every move and the state carried on are equal."""
    profile = data.draw(profiles())
    check_equal(profile, [data.draw(stimuli(first)) for first in (0, 300)])


@settings(max_examples=70)
@given(data=st.data())
def test_long_transfers_equal_step(data):
    """The same is equal over spans long enough for many words, in either direction."""
    profile = data.draw(profiles())
    direction = data.draw(st.sampled_from((0, 1)))
    spans = [data.draw(stimuli(n, 1500, direction)) for n in (0, 1500)]
    check_equal(profile, spans)


@pytest.mark.share(4)
@pytest.mark.parametrize("seed", range(40))
def test_long_writes_equal_step(seed):
    """The same is equal for writes of many words under every precompensation."""
    profile = profile_of(
        policies=COVERING[seed % len(COVERING)],
        slots={"line_cycles": (60, 150, 200)[seed % 3], "at": (3,)},
        write_bit_cycles=9,
    )
    first = {"access_share": 0.004, "direction": 1, "control": 0x8000 | seed % 4 << 3}
    spans = [
        busy_stimulus(seed, 0, 4000, level_changes=seed % 2 * 2, **first),
        busy_stimulus(seed + 100, 4000, 2000, access_share=0.0),
    ]
    check_equal(profile, spans)


@pytest.mark.parametrize("word", [0x0005, 0x000A, 0xA000, 0xFFFF, 0x1400])
def test_pulse_at_the_end_of_a_word(word):
    """A late pulse in the last cycle before the next word ends with that cycle."""
    profile = profile_of(slots={"line_cycles": 60, "at": (3,)}, write_bit_cycles=9)
    stimulus = busy_stimulus(
        1, 0, 3000, access_share=1e-9, direction=1, control=0x8018, memory=[word] * 40, words=10
    )
    check_equal(profile, [stimulus])


@pytest.mark.parametrize("policies", COVERING, ids=lambda p: "-".join(p.model_dump().values()))
def test_every_pair_of_choices(policies):
    """One busy run is equal under policies that have every two choices together somewhere."""
    profile = profile_of(
        policies=policies, slots={"line_cycles": 100, "at": (3, 50)}, write_bit_cycles=9
    )
    spans = [
        busy_stimulus(7, 0, 900, access_share=0.05, direction=1),
        busy_stimulus(8, 900, 900, access_share=0.05, level_changes=2, reset=True),
    ]
    check_equal(profile, spans)


@settings(max_examples=70)
@given(data=st.data(), profile=profiles())
def test_edges_skip_nothing(data, profile):
    """Stepping only the edges on which something happens shows every change `step` shows."""
    stimulus = data.draw(stimuli(0, data.draw(st.sampled_from((300, 1500)))))
    shown, _, _ = stepped(RegisterBlock(profile), stimulus)
    block = RegisterBlock(profile)
    found = [shown_of(block)] * stimulus.cycles
    for edge in edges(block, stimulus):
        assert edge.after == block.state
        rest = stimulus.end - edge.cycle
        found[edge.cycle - stimulus.first :] = [shown_of(block)] * rest
    assert shown == found


@pytest.mark.parametrize("forwarding", CHOICES["fifo_forwarding"])
def test_slot_where_a_word_is_taken(forwarding):
    """A slot on the very edge on which the serialiser takes a word is used alike."""
    for cycles in range(142, 148):  # a word takes 144 cycles: slots drift along the words
        profile = profile_of(
            policies=Policies(fifo_forwarding=forwarding),
            slots={"line_cycles": cycles, "at": (40,)},
            write_bit_cycles=9,
        )
        stimulus = busy_stimulus(1, 0, 2500, access_share=1e-9, direction=1, words=12)
        check_equal(profile, [stimulus])
