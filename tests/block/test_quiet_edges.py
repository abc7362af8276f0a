"""Quiet edges: what the engine passes over changes nothing but the tick of a written bit."""

from dataclasses import replace

from hypothesis import given
from states import INPUTS, POLICIES, states
from stepping import profile

from refmodel.block.registers import RegisterBlock
from refmodel.engine.quiet import NEVER, after_quiet, does_nothing, quiet_edges

NOTHING = dict.fromkeys(
    (
        "reset",
        "bit_strobe",
        "read_status",
        "write_sync_word",
        "write_transfer",
        "write_control",
        "slot",
    ),
    0,
)


def settled(state, inputs, policies):
    """Return a block that has sampled the levels once, with nothing else arriving."""
    block = RegisterBlock(profile(policies=policies))
    block.restore(state)
    block.step(inputs)
    return block


@given(state=states(), inputs=INPUTS, policies=POLICIES)
def test_quiet_edges_are_counted_right(state, inputs, policies):
    """Before the next event nothing is shown anew, and skipping leads to the state of stepping."""
    inputs = replace(inputs, **NOTHING)
    block, far = (settled(state, inputs, policies) for _ in range(2))
    first = shown(block)
    quiet = min(quiet_edges(block.rules, block.state, inputs), 100)
    for _ in range(quiet):
        block.step(inputs)
        assert shown(block) == first
    far.restore(after_quiet(far.state, quiet))
    assert (far.state, far.status) == (block.state, block.status)


@given(state=states(), inputs=INPUTS, policies=POLICIES)
def test_quiet_for_ever_is_the_same_state(state, inputs, policies):
    """Where nothing will ever happen, the next state is the state."""
    inputs = replace(inputs, **NOTHING)
    block = settled(state, inputs, policies)
    if quiet_edges(block.rules, block.state, inputs) == NEVER:
        before = block.state
        block.step(inputs)
        assert block.state == before


@given(state=states(), inputs=INPUTS, policies=POLICIES)
def test_a_path_that_does_nothing_stays(state, inputs, policies):
    """With enable off, only a write of transfer or reset changes the path."""
    block = settled(state, replace(inputs, reset=0, write_transfer=0), policies)
    before = block.state.transfer
    if does_nothing(before):
        block.step(replace(inputs, reset=0, write_transfer=0))
        assert block.state.transfer == before


def shown(block):
    """Return all a block shows and counts."""
    lines = (block.write_gate, block.write_data, block.sync_found, block.transfer_done)
    return (block.status, *lines, block.state.transfer.lost_words, block.state.transfer.underruns)
