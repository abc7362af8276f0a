"""`next_state` is a pure function of plain integers that runs on symbolic values as well."""

from dataclasses import fields, replace

from block_drive import make_block
from hypothesis import given
from states import INPUTS, POLICIES, states
from stepping import profile

from refmodel.block.inputs import Inputs
from refmodel.block.registers import (
    RegisterBlock,
    State,
    next_state,
    reset_state,
    status_word,
    sync_found,
)
from refmodel.block.rules import Rules


class Symbol:
    """A number that knows the operators a bit-vector has and nothing else.

    It is no index, no key, no text and has no order; its truth divides a run on symbols in two.
    """

    __hash__ = None

    def __init__(self, value):
        self.value = int(value)

    def __bool__(self):
        return self.value != 0

    def __eq__(self, other):
        return Symbol(self.value == plain(other))

    def __ne__(self, other):
        return Symbol(self.value != plain(other))

    def __invert__(self):
        return Symbol(~self.value)

    def __format__(self, spec):
        raise TypeError("a symbol has no text")

    __str__ = __repr__ = None


def plain(value):
    """Return a symbol's number, in a tuple or a state as well."""
    if isinstance(value, Symbol):
        return value.value
    if isinstance(value, State):
        return State(**{f.name: plain(getattr(value, f.name)) for f in fields(value)})
    if isinstance(value, tuple):
        parts = [plain(part) for part in value]
        return type(value)(*parts) if hasattr(value, "_fields") else tuple(parts)
    return value


def symbolic(value):
    """Return the same with a symbol in place of each number."""
    if isinstance(value, int):
        return Symbol(value)
    if isinstance(value, (State, Inputs)):
        changed = {f.name: symbolic(getattr(value, f.name)) for f in fields(value)}
        return replace(value, **changed)
    parts = [symbolic(part) for part in value]
    return type(value)(*parts) if hasattr(value, "_fields") else tuple(parts)


def _operator(name):
    def operate(self, other):
        return Symbol(getattr(self.value, name)(plain(other)))

    def reversed_(self, other):
        return Symbol(getattr(plain(other), name)(self.value))

    return operate, reversed_


for _name in ("and", "or", "lshift", "rshift", "add", "sub"):
    _forward, _back = _operator(f"__{_name}__")
    setattr(Symbol, f"__{_name}__", _forward)
    setattr(Symbol, f"__r{_name}__", _back)


@given(state=states(), inputs=INPUTS, policies=POLICIES)
def test_symbols_pass_through(state, inputs, policies):
    """On values that are no Python integers the next state and the outputs are the same."""
    rules = Rules.of(profile(policies=policies))
    after, on_symbols = (
        next_state(rules, *pair) for pair in ((state, inputs), (symbolic(state), symbolic(inputs)))
    )
    assert plain(on_symbols) == after
    assert plain(status_word(rules, on_symbols)) == status_word(rules, after)
    assert plain(sync_found(on_symbols)) == sync_found(after)
    assert plain(on_symbols.transfer.writer.data) == after.transfer.writer.data


@given(state=states(), inputs=INPUTS, policies=POLICIES)
def test_next_state_depends_on_nothing_else(state, inputs, policies):
    """The same state and inputs give the same next state, and neither is changed."""
    rules = Rules.of(profile(policies=policies))
    kept = replace(state), replace(inputs)
    first = next_state(rules, state, inputs)
    next_state(rules, first, Inputs(bit_strobe=1, slot=1))
    assert next_state(rules, state, inputs) == first
    assert (state, inputs) == kept


@given(state=states(), inputs=INPUTS, policies=POLICIES)
def test_step_is_the_next_state(state, inputs, policies):
    """`step` leads to the next state, and returns the status word it shows."""
    block = RegisterBlock(profile(policies=policies))
    block.restore(state)
    word = block.step(inputs)
    assert block.state == next_state(block.rules, state, inputs)
    assert word == block.status == status_word(block.rules, block.state)


def test_states_are_never_changed_in_place():
    """A state kept from before an edge stays what it was."""
    block = make_block()
    before = block.state
    kept = replace(before)
    for _ in range(20):
        block.step(Inputs(bit_strobe=1, bit=1, read_status=1, dma_active=1, writing=1))
    assert before == kept == reset_state(block.rules)
    assert block.state != kept
