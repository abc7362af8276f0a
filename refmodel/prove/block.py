"""The register block as a machine of bits, from the very `next_state` that users read."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import z3

from refmodel.block import registers, transfer
from refmodel.block.inputs import Inputs
from refmodel.block.registers import State
from refmodel.block.rules import Rules
from refmodel.ground.word import WORD_BITS
from refmodel.prove.fork import Fork, forking, variables
from refmodel.prove.number import WIDTH, Number, Value, bits_of, bounds
from refmodel.prove.system import System

BLOCK = ("refmodel.block",)
WORDS = (
    "sync_word",
    "write_sync_word",
    "transfer",
    "control",
    "slot_data",
)  # inputs not 1 bit wide
COUNTS_ON = "transfer.memory_index"  # counted by the bench too; only that it moves on matters
PATH = "transfer."
SAMPLED = "in."  # in the names of inputs: some parts of the state have the same name
_WIDE = ("window", "sync_word", "word", "lost_words", "underruns", "memory_index")
_MOST: dict[str, Callable[[Rules], int]] = {  # the highest number of a part that is no flag
    "bit_count": lambda _: 7,
    "data": lambda _: 0xFF,
    "control": lambda _: 0x1F,
    "transfer.fifo.used": lambda rules: rules.fifo_words,
    "transfer.collector.bits": lambda _: 15,
    "transfer.writer.bit": lambda _: 31,
    "transfer.writer.tick": lambda rules: 2 * rules.bit_cycles,
    "transfer.writer.bit_cycles": lambda rules: 2 * rules.bit_cycles,
    "transfer.writer.pulse": lambda rules: 2 * rules.bit_cycles,
    "transfer.writer.recent": lambda _: 31,
    "transfer.armed": lambda rules: rules.arming_writes,
    "transfer.length": lambda _: 0x3FFF,
    "transfer.lost_words": lambda _: 0xFFFF,
    "transfer.underruns": lambda _: 0xFFFF,
}


@dataclasses.dataclass
class SymbolicBlock:
    """The block on any state and any inputs.

    `system` is the machine; `before` and `after` are the states around an edge, in numbers that
    are not known, and `inputs` what is sampled there. `status_before`, `status` are the words that
    read in the cycle before and after the edge, `lines_before`, `lines` the output lines. `moved`
    says whether a word moves on it, and `stored` and `word` which way and what.
    """

    system: System
    rules: Rules
    before: State
    after: State
    inputs: Inputs
    status_before: z3.BitVecRef
    status: z3.BitVecRef
    lines: dict[str, z3.BitVecRef]
    lines_before: dict[str, z3.BitVecRef]
    moved: z3.BitVecRef
    stored: z3.BitVecRef
    word: z3.BitVecRef
    ways: int
    idle_moves: bool  # a part that was to stay as reset leaves it does not


def symbolic_block(
    rules: Rules, prefix: str = "model.", fixed: Mapping[str, int] | None = None
) -> SymbolicBlock:
    """Run `next_state` on a state and inputs of which nothing is known but the `fixed` inputs.

    With no write of transfer the path to memory stays as reset leaves it, and is left out.
    Raises NotSymbolicError, with file and line, for what cannot be run so.
    """
    fixed = fixed or {}
    idle = (PATH,) if fixed.get("write_transfer", 1) == 0 else ()
    wider: frozenset[str] = frozenset()
    while True:
        block = _run_on_symbols(_Frame(rules, prefix, fixed, idle, wider))
        more = {n.removeprefix(prefix) for n in block.system.ranges} - _MOST.keys() - wider
        if block.idle_moves:
            idle = ()
        elif more:
            wider |= more
        else:
            return block


@dataclasses.dataclass(frozen=True)
class _Frame:
    """What a run on symbols is given: which inputs and parts of the state are known."""

    rules: Rules
    prefix: str
    fixed: Mapping[str, int]
    idle: tuple[str, ...]  # how the names of parts begin that stay as reset leaves them
    wider: frozenset[str]  # parts that need all the bits of a word

    def width(self, path: str) -> int:
        """Return how many bits a part of the state is given; that they are enough is proved."""
        if path in self.wider:
            return WORD_BITS
        if path in _MOST:
            return _MOST[path](self.rules).bit_length()
        leaf = path.rsplit(".", 1)[-1]
        return WORD_BITS if leaf in _WIDE or leaf.isdecimal() else 1

    def part(self, path: str, start: int) -> Value:
        """Return a part of the state before an edge."""
        if path.startswith(self.idle) and self.idle:
            return start
        return Number.variable(self.prefix + path, self.width(path))

    def sampled(self, name: str, start: int) -> Value:
        """Return an input."""
        del start
        if name in self.fixed:
            return self.fixed[name]
        return Number.variable(self.prefix + SAMPLED + name, _input_width(name))


def _run_on_symbols(frame: _Frame) -> SymbolicBlock:
    """Run the block once on what the frame leaves unknown."""
    rules, prefix = frame.rules, frame.prefix
    start = registers.reset_state(rules)
    before = unknown(start, frame.part)
    inputs = unknown(Inputs(), frame.sampled)
    with forking(Fork(), BLOCK) as fork:
        after = registers.next_state(rules, before, inputs)
        words = [registers.status_word(rules, state) for state in (before, after)]
        shown, shown_before = _lines(after), _lines(before)
        moves = fork.call(_move, rules, before, after, inputs)
        system, idle_moves = _system(frame, fork, start, after)

        counter = z3.BitVec(prefix + COUNTS_ON, WORD_BITS)
        system.state.pop(prefix + COUNTS_ON, None)
        system.after.pop(prefix + COUNTS_ON, None)
        system.start.pop(prefix + COUNTS_ON, None)

        def bits(value: Value, width: int) -> z3.BitVecRef:
            known = z3.substitute(fork.expand(bits_of(value)), (counter, counter - counter))
            return narrow(known, width)

        for f in dataclasses.fields(Inputs):
            if f.name not in frame.fixed:
                system.take(prefix + SAMPLED + f.name, _input_width(f.name))
        return SymbolicBlock(
            system,
            rules,
            before,
            after,
            inputs,
            status_before=bits(words[0], WORD_BITS),
            status=bits(words[1], WORD_BITS),
            lines={name: bits(value, 1) for name, value in shown.items()},
            lines_before={name: bits(value, 1) for name, value in shown_before.items()},
            moved=bits(moves[0], 1),
            stored=bits(moves[1], 1),
            word=bits(moves[2], WORD_BITS),
            ways=fork.ways,
            idle_moves=idle_moves,
        )


def _lines(state: State) -> dict[str, Value]:
    """Return the output lines of a state."""
    return {
        "write_gate": state.transfer.writer.gate,
        "write_data": state.transfer.writer.data,
        "sync_found": registers.sync_found(state),
        "transfer_done": state.transfer.done,
    }


def _move(rules: Rules, before: State, after: State, inputs: Inputs) -> tuple[int, int, int]:
    """Return whether a word moves on an edge, whether to memory, and the word."""
    move = transfer.moved(rules, before.transfer, after.transfer, inputs.slot_data)
    return (0, 0, 0) if move is None else (1, move.store, move.word)


def _system(frame: _Frame, fork: Fork, start: State, after: State) -> tuple[System, bool]:
    """Return the machine, and whether a part moves that was to stay as reset leaves it."""
    system = System()
    following = dict(leaves(after))
    idle_moves = False
    for path, begins in leaves(start):
        name, value = frame.prefix + path, following[path]
        if not isinstance(frame.part(path, begins), Number):
            idle_moves |= not (isinstance(value, int) and value == begins)
            continue
        width = frame.width(path)
        system.register(name, width, begins)
        bits = z3.simplify(fork.expand(bits_of(value)))
        system.after[name] = narrow(bits, width)
        low, high = bounds(value)
        fits = z3.ULT(bits, z3.BitVecVal(1 << width, WIDTH))
        if path != COUNTS_ON and (low < 0 or high >> width) and not _always(fits):
            system.ranges[name] = fits
    _check_counts_on(system, frame.prefix + COUNTS_ON)
    return system, idle_moves


def _always(holds: z3.BoolRef) -> bool:
    """Return whether a condition holds whatever the values."""
    solver = z3.SolverFor("QF_BV")
    solver.set("timeout", 2000)
    solver.add(z3.Not(holds))
    return bool(solver.check() == z3.unsat)


def _check_counts_on(system: System, counter: str) -> None:
    """Make sure that nothing but the counter itself depends on the counter that never ends."""
    held = system.state.get(counter)
    if held is None:
        return
    for name, after in system.after.items():
        assert name == counter or all(not v.eq(held) for v in variables(after)), name


def narrow(bits: z3.BitVecRef, width: int) -> z3.BitVecRef:
    """Return the lowest bits of a number."""
    return z3.simplify(z3.Extract(width - 1, 0, bits))


def leaves(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:  # noqa: ANN401
    """Yield each number in a state, with the names that lead to it: `transfer.fifo.used`."""
    if isinstance(value, (int, Number)):
        yield path, value
        return
    for name, part in _parts(value):
        yield from leaves(part, f"{path}.{name}" if path else name)


def unknown(value: Any, make: Callable[[str, int], Value], path: str = "") -> Any:  # noqa: ANN401
    """Return a state like `value` with what `make` makes of its name and number in each place."""
    if isinstance(value, int):
        return make(path, value)
    made = {n: unknown(part, make, f"{path}.{n}" if path else n) for n, part in _parts(value)}
    if isinstance(value, tuple) and not hasattr(value, "_fields"):
        return tuple(made.values())
    return type(value)(**made)


def _parts(value: Any) -> Iterator[tuple[str, Any]]:  # noqa: ANN401
    if isinstance(value, tuple):
        names = getattr(value, "_fields", None) or map(str, range(len(value)))
        yield from zip(names, value, strict=True)
    else:
        yield from ((f.name, getattr(value, f.name)) for f in dataclasses.fields(value))


def _input_width(name: str) -> int:
    return WORD_BITS if name in WORDS else 1
