"""Quiet edges: `step` passes over an edge only when stepping it would change nothing."""

from dataclasses import fields, replace

import pytest
from block_drive import make_block
from hypothesis import given
from hypothesis import strategies as st
from stepping import profile

from refmodel.block.collector import Collector
from refmodel.block.fifo import Fifo
from refmodel.block.registers import Inputs, RegisterBlock, State
from refmodel.block.settings import Policies
from refmodel.block.transfer import Transfer
from refmodel.block.writer import IDLE, Writer

BIT = st.integers(0, 1)
WORD = st.integers(0, 0xFFFF)
POLICIES = st.builds(
    Policies,
    sync_view=st.sampled_from(("live", "registered")),
    realign=st.sampled_from(("when_waiting", "always", "never")),
    ready_tie=st.sampled_from(("set_wins", "clear_wins")),
    dma_active_means=st.sampled_from(("running", "enabled")),
    writing_means=st.sampled_from(("requested", "gate_open")),
    zero_length=st.sampled_from(("done_at_once", "ignored")),
    write_tail_lost_bits=st.sampled_from(("0", "3")),
)
INPUTS = st.builds(
    Inputs,
    reset=st.just(0) | BIT,
    bit_strobe=st.just(0) | BIT,
    bit=BIT,
    read_status=st.just(0) | BIT,
    write_sync_word=st.sampled_from((0, 0, 0xFF00, 0x00FF, 0xFFFF)),
    sync_word=WORD,
    dma_active=BIT,
    writing=BIT,
    wait_for_sync=BIT,
    write_transfer=st.just(0) | BIT,
    transfer=WORD,
    write_control=st.just(0) | BIT,
    control=WORD,
    master_enable=st.just(1) | BIT,
    channel_enable=st.just(1) | BIT,
    slot=BIT,
    slot_data=WORD,
)
DATA = ("sync_word", "transfer", "control", "slot_data")  # mean nothing by themselves


@st.composite
def writers(draw):
    """Draw a serialiser in the middle of a write, its bit's time not over."""
    bit_cycles = draw(st.sampled_from((14, 28)))
    return Writer(
        active=1,
        bit=draw(st.integers(0, 17)),
        tick=draw(st.integers(0, bit_cycles - 1)),
        bit_cycles=bit_cycles,
        pulse=draw(st.integers(3, bit_cycles)),
        word=draw(WORD),
        recent=draw(st.integers(0, 31)),
        gate=draw(BIT),
    )


@st.composite
def transfers(draw):
    """Draw a transfer that can be: what is not armed with enable does nothing (B9)."""
    if not draw(st.just(1) | BIT):
        return Transfer(Fifo.empty(3), memory_index=draw(WORD))
    write, running = draw(BIT), draw(st.just(1) | BIT)
    waiting = draw(st.lists(WORD, max_size=3))
    return Transfer(
        Fifo(len(waiting), tuple(waiting + [0] * (3 - len(waiting)))),
        collector=Collector(*draw(st.sampled_from(((1, 0), (0, 0), (0, 15))))),
        writer=draw(writers() | st.just(IDLE)) if write else IDLE,
        armed=draw(BIT),
        enable=1,
        write=write,
        running=running,
        length=draw(st.integers(1, 3)) if running else 0,
        memory_index=draw(WORD),
        done=draw(st.just(0) | BIT),
        lost_words=draw(WORD),
        underruns=draw(WORD),
    )


@st.composite
def states(draw):
    """Draw a state the block can be in: sync_equal is the comparison of the two words."""
    window = draw(WORD)
    sync_word = draw(st.just(window) | WORD)
    equal = int(window == sync_word)
    return State(
        window=window,
        sync_word=sync_word,
        bit_count=draw(st.integers(0, 7)),
        data=draw(st.integers(0, 0xFF)),
        byte_ready=draw(BIT),
        sync_equal=equal,
        sync_equal_before=draw(st.just(equal) | BIT),
        dma_active=draw(BIT),
        writing=draw(BIT),
        control=draw(st.integers(0, 31)),
        transfer=draw(transfers()),
    )


def block_in(state, policies):
    """Return a block in this state."""
    block = RegisterBlock(profile(policies=policies))
    block.restore(state)
    return block


@pytest.mark.parametrize("name", [key.name for key in fields(Inputs) if key.name not in DATA])
@given(state=states(), word=WORD, settled=st.booleans(), policies=POLICIES)
def test_one_input_is_not_passed_over(name, state, word, settled, policies):
    """Where all else stays as it is, `step` takes each input as the next state does."""
    levels = {"dma_active": state.dma_active, "writing": state.writing}
    calm = Inputs(**levels, **dict.fromkeys(DATA, word))
    block = block_in(state, policies)
    if settled:
        block.step(calm)
    value = 0xFF00 if name == "write_sync_word" else 1 - getattr(calm, name)
    check_step(block, replace(calm, **{name: value}))


@given(state=states(), inputs=INPUTS, policies=POLICIES)
def test_step_is_the_next_state(state, inputs, policies):
    """Whatever arrives on one edge, `step` leads to the next state and shows it."""
    check_step(block_in(state, policies), inputs)


def check_step(block, inputs):
    """Check that `step`, whether it takes the edge for quiet or not, leads to the next state."""
    other = RegisterBlock(block.settings)
    other.restore(block.state)  # another block: _next_state leaves what it moved behind
    expected = other._next_state(inputs)
    word = block.step(inputs)
    assert (block.state, word) == (expected, block._status_of(expected))


@given(state=states(), word=WORD, bit=BIT, waiting=BIT, policies=POLICIES)
def test_nothing_arriving_is_quiet(state, word, bit, waiting, policies):
    """With no strobe, no access, unchanged levels and a settled view an edge is quiet indeed."""
    state.sync_equal_before = state.sync_equal
    state.transfer = Transfer(Fifo.empty(3))
    inputs = Inputs(
        bit=bit,
        sync_word=word,
        dma_active=state.dma_active,
        writing=state.writing,
        wait_for_sync=waiting,
    )
    assert block_in(state, policies)._is_quiet(inputs)


def test_states_are_never_changed_in_place():
    """A state kept from before an edge stays what it was."""
    block = make_block()
    before = block.state
    kept = State(**{name: getattr(before, name) for name in State.__slots__})
    for _ in range(20):
        block.step(Inputs(bit_strobe=1, bit=1, read_status=1, dma_active=1, writing=1))
    assert before == kept
    assert block.state != kept


@given(state=states(), edges=st.lists(INPUTS, max_size=20), policies=POLICIES)
def test_restored_block_goes_on_alike(state, edges, policies):
    """A block restored to another's state does from there on what the other does."""
    first, second = block_in(state, policies), block_in(state, policies)
    for inputs in edges:
        first.step(inputs)
    second.restore(first.state)
    assert [second.step(i) for i in edges] == [first.step(i) for i in edges]


@given(state=states(), inputs=INPUTS, policies=POLICIES)
def test_quiet_edges_are_counted_right(state, inputs, policies):
    """The edges before the next event show nothing new, and the one after them does."""
    inputs = replace(
        inputs, reset=0, bit_strobe=0, read_status=0, write_sync_word=0, write_transfer=0,
        write_control=0, slot=0,
    )  # fmt: skip
    block, far = block_in(state, policies), block_in(state, policies)
    for b in (block, far):
        b.step(inputs)  # the levels as given
    first = shown(block)
    quiet = min(block.quiet_edges(inputs), 100)
    for _ in range(quiet):
        block.step(inputs)
        assert shown(block) == first
    far.pass_quiet(quiet)
    assert (far.state, far.status) == (block.state, block.status)
    if quiet < 100:
        alike = (block.state, counted(block.state))
        block.step(inputs)
        assert shown(block) != first or block.state not in alike


def shown(block):
    """Return all that a block shows outside."""
    outputs = block.write_gate, block.write_data, block.sync_found, block.transfer_done
    return block.status, *outputs


def counted(state):
    """Return the state with the cycle counter of the written bit one higher."""
    transfer = state.transfer
    writer = transfer.writer._replace(tick=transfer.writer.tick + 1)
    return replace(state, transfer=transfer._replace(writer=writer))
