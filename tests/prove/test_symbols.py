"""The block run on numbers that are not known gives what it gives on every known one."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refmodel.block import framing
from refmodel.block.inputs import Inputs
from refmodel.block.registers import next_state, reset_state, status_word, sync_found
from refmodel.block.rules import Rules
from refmodel.block.settings import Policies
from refmodel.block.transfer import moved
from refmodel.profile import load_profile
from refmodel.prove.arrays import Computer
from refmodel.prove.block import SAMPLED, leaves, symbolic_block, unknown
from refmodel.prove.number import NotSymbolicError

MANY = 400


def rules_of(**changes):
    """Return the rules of a profile with some settings changed."""
    return Rules.of(load_profile("pal_dd").model_copy(update=changes))


def drawn(names, rng):
    """Return random values of variables, small ones more often than large ones."""
    values = {}
    for name, variable in names.items():
        top = 1 << variable.size()
        few = rng.integers(0, min(top, 4), MANY)
        values[name] = np.where(rng.random(MANY) < 0.5, few, rng.integers(0, top, MANY))
        values[name] = values[name].astype(np.uint64)
    return values


def on_numbers(rules, values, n):
    """Return what `next_state` makes of the n-th of some values, with all that shows."""
    state = unknown(
        reset_state(rules), lambda path, start: int(values.get(f"model.{path}", [start] * MANY)[n])
    )
    sampled = {
        f.name: int(values[f"model.{SAMPLED}{f.name}"][n]) for f in dataclasses.fields(Inputs)
    }
    after = next_state(rules, state, Inputs(**sampled))
    move = moved(rules, state.transfer, after.transfer, sampled["slot_data"])
    shown = [status_word(rules, after), sync_found(after), 0 if move is None else 1]
    return {f"model.{path}": value for path, value in leaves(after)}, shown


POLICIES = [
    {},
    {"sync_view": "registered", "realign": "always", "ready_tie": "clear_wins"},
    {
        "dma_active_means": "running",
        "writing_means": "gate_open",
        "zero_length": "ignored",
        "same_edge_write": "new",
        "start_acts": "same_edge",
        "fifo_forwarding": "both",
        "arming_counts": "afresh",
        "length_loads": "accepted",
        "gates_stop": "slots",
        "read_clears": "edge_after",
    },
]


@pytest.mark.share(3)
@pytest.mark.parametrize(
    ("policies", "changes"),
    [(POLICIES[0], {}), (POLICIES[1], {"fifo_words": 5, "arming_writes": 3}), (POLICIES[2], {})],
)
def test_block_on_symbols_equals_block_on_numbers(policies, changes):
    """Each part of the next state, put in figures, is what the same state gives in figures."""
    rules = rules_of(policies=Policies(**policies), **changes)
    block = symbolic_block(rules)
    system = block.system
    values = drawn(system.state | system.inputs, np.random.default_rng(1))
    used = values["model.transfer.fifo.used"]
    values["model.transfer.fifo.used"] = used % (rules.fifo_words + 1)
    fits = [*system.ranges.values()]
    wanted = [*system.after.values(), block.status, block.lines["sync_found"], block.moved]
    found = Computer([*wanted, *fits]).run(values)
    names = list(system.after)
    compared = 0
    for n in range(MANY):
        if not all(fit[n] for fit in found[len(wanted) :]):
            continue
        compared += 1
        state, shown = on_numbers(rules, values, n)
        for name, column in zip(names, found, strict=False):
            assert state[name] == int(column[n]), (name, n)
        assert shown == [int(column[n]) for column in found[len(names) : len(wanted)]]
    assert compared > MANY // 4


def test_what_cannot_be_run_is_told_with_its_line(monkeypatch):
    """A table indexed by a value of the state is an error that names file and line."""

    def by_table(policy, waits):
        return (policy, 1)[waits]

    by_table.__module__ = framing.__name__
    monkeypatch.setattr(framing, "realigns", by_table)
    monkeypatch.setattr("refmodel.block.registers.realigns", by_table)
    with pytest.raises(
        NotSymbolicError, match=r"test_symbols\.py:\d+: return \(policy, 1\)\[waits\]"
    ):
        symbolic_block(rules_of())


@settings(max_examples=60)
@given(a=st.integers(-99, 99), b=st.integers(-99, 99), by=st.integers(1, 9))
def test_numbers_divide_as_integers_do(a, b, by):
    """Division, remainder, shifts and order of unknown numbers are those of Python's integers."""
    import z3

    from refmodel.prove.number import WIDTH, Number, bits_of, constant

    x = Number(z3.BitVec("x", WIDTH), -99, 99)
    parts = [x // by, x % by, x >> 2, x << 2, x - b, x * b, ~x, x & b, x | b, x ^ b, x < b, x >= b]
    wanted = [a // by, a % by, a >> 2, a << 2, a - b, a * b, ~a, a & b, a | b, a ^ b, a < b, a >= b]
    for part, value in zip(parts, wanted, strict=True):
        put = z3.simplify(z3.substitute(bits_of(part), (x.bits, constant(a))))
        assert put.as_signed_long() == int(value)
        if isinstance(part, Number):
            assert part.low <= value <= part.high
