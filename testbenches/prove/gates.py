"""A system of words as a graph of gates, for a model checker; and its runs read back."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce

import z3

from refmodel.prove.arrays import inner_first
from refmodel.prove.system import System
from testbenches.hdl.aiger import Aiger, Gates

Word = list[int]  # literals, the lowest bit first; a condition has one


@dataclass(frozen=True)
class Graph:
    """A system as gates: its one output is 1 on an edge on which a claim fails.

    Nothing counts any more once an assumption has failed.
    """

    aiger: Aiger
    system: System

    def run(self, rows: Sequence[Sequence[int]]) -> tuple[dict[str, int], list[dict[str, int]]]:
        """Return the start and the inputs of each edge, from what the graph's inputs are."""
        system = self.system
        read = [dict(zip(_inputs_of(system), row, strict=True)) for row in rows]

        def word(values: Mapping[tuple[str, int], int], name: str, size: int) -> int:
            return sum(values[name, n] << n for n in range(size))

        free = {n: word(read[0], n, v.size()) for n, v in _free(system).items()}
        start = {n: _begun(system, n, free) for n in system.state}
        inputs = [{n: word(row, n, v.size()) for n, v in system.inputs.items()} for row in read]
        return start, inputs


def graph_of(system: System, lemmas: Sequence[z3.BoolRef] = ()) -> Graph:
    """Return a system as gates; `lemmas` are conditions on the state that are known to hold.

    Raises NotImplementedError for an operation that is not known.
    """
    return Graph(_Builder(system).build(lemmas), system)


def _free(system: System) -> dict[str, z3.BitVecRef]:
    """Return the registers that may begin as anything."""
    return {n: v for n, v in system.state.items() if n not in system.start}


def _inputs_of(system: System) -> list[tuple[str, int]]:
    """Return the bits of all inputs, and then of what registers begin with."""
    words = [*system.inputs.items(), *_free(system).items()]
    return [(name, n) for name, word in words for n in range(word.size())]


def _begun(system: System, name: str, free: Mapping[str, int]) -> int:
    """Return what a register begins with: a constant, its own, or what another one does."""
    begins = system.start.get(name)
    if begins is None:
        return free[name]
    begins = z3.simplify(begins)
    if z3.is_bv_value(begins):
        return int(begins.as_long())
    return _begun(system, begins.decl().name(), free)


class _Builder:
    """Puts a system into gates. Latches begin at 0, so one that begins at 1 holds its opposite."""

    def __init__(self, system: System) -> None:
        self._system = system
        self._inputs = _inputs_of(system)
        self._held = [(n, b) for n, word in system.state.items() for b in range(word.size())]
        first = len(self._inputs) + 1
        places = {bit: 2 * n for n, bit in enumerate(self._inputs, 1)}
        latches = {bit: 2 * (first + n) for n, bit in enumerate(self._held)}
        self._failed, self._going = (2 * (first + len(latches) + n) for n in (0, 1))
        self._gates = Gates(first + len(latches) + 2)
        self._put = Blaster(self._gates)
        for name, word in system.inputs.items():
            self._put.words[name] = [places[name, n] for n in range(word.size())]
        for name, word in system.state.items():
            bits = [latches[name, n] for n in range(word.size())]
            self._put.words[name] = [self._now(name, n, bit, places) for n, bit in enumerate(bits)]

    def _now(self, name: str, n: int, latch: int, places: Mapping[tuple[str, int], int]) -> int:
        """Return what a register's bit is, from its latch."""
        begins = self._begins(name)
        if isinstance(begins, int):
            return latch ^ (begins >> n & 1)
        return self._put.choice(self._going, latch, places[begins, n])

    def _begins(self, name: str) -> int | str:
        """Return what a register begins with, or the name of the one whose input says it."""
        begins = self._system.start.get(name)
        if begins is None:
            return name
        begins = z3.simplify(begins)
        if z3.is_bv_value(begins):
            return int(begins.as_long())
        return self._begins(begins.decl().name())

    def build(self, lemmas: Sequence[z3.BoolRef]) -> Aiger:
        """Return the graph."""
        system, put = self._system, self._put
        after = {name: put.word(system.after[name]) for name in system.state}
        latches = []
        for name, n in self._held:
            begins = self._begins(name)
            inverted = begins >> n & 1 if isinstance(begins, int) else 0
            latches.append((after[name][n] ^ inverted, ""))
        allowed = put.word(z3.And(system.assumption, *lemmas))[0]
        broken = put.word(z3.And(*system.claims.values(), *system.ranges.values()))[0] ^ 1
        fails = self._gates.both(self._gates.both(self._failed ^ 1, allowed), broken)
        latches += [(self._gates.both(self._failed ^ 1, allowed) ^ 1, ""), (1, "")]
        names = [f"{name.replace(' ', '_')}[{n}]" for name, n in self._held]
        inputs = tuple(f"{name}[{n}]" for name, n in self._inputs)
        made = tuple(self._gates.made)
        return Aiger(inputs, tuple(latches), (fails,), made, (*names, "failed", "going"))


class Blaster:
    """Turns expressions into gates; `words` has the literals of each variable."""

    def __init__(self, gates: Gates) -> None:
        self._gates = gates
        self.words: dict[str, Word] = {}
        self._found: dict[int, Word] = {}
        self._kept: list[z3.ExprRef] = []  # so that no number of an expression is given away again

    def word(self, expression: z3.ExprRef) -> Word:
        """Return the literals of an expression."""
        for part in inner_first([expression]):
            if part.get_id() not in self._found:
                self._found[part.get_id()] = self._made(part)
                self._kept.append(part)
        return self._found[expression.get_id()]

    def _made(self, part: z3.ExprRef) -> Word:
        if z3.is_bv_value(part):
            value = part.as_long()
            return [value >> n & 1 for n in range(part.size())]
        if z3.is_true(part) or z3.is_false(part):
            return [int(z3.is_true(part))]
        if part.num_args() == 0:
            return self.words[part.decl().name()]
        operate = _OPERATIONS.get(part.decl().kind())
        if operate is None:
            raise NotImplementedError(part.decl().name())
        return operate(self, part, [self._found[child.get_id()] for child in part.children()])

    def both(self, one: int, other: int) -> int:
        """Return the literal that is 1 when both are."""
        return self._gates.both(one, other)

    def either(self, one: int, other: int) -> int:
        """Return the literal that is 1 when one is."""
        return self.both(one ^ 1, other ^ 1) ^ 1

    def unlike(self, one: int, other: int) -> int:
        """Return the literal that is 1 when they differ."""
        return self.either(self.both(one, other ^ 1), self.both(one ^ 1, other))

    def choice(self, which: int, one: int, other: int) -> int:
        """Return `one` where `which` is 1, else `other`."""
        return self.either(self.both(which, one), self.both(which ^ 1, other))

    def sum(self, one: Word, other: Word, carry: int = 0) -> tuple[Word, int]:
        """Return the sum of two words, and its carry."""
        found = []
        for a, b in zip(one, other, strict=True):
            half = self.unlike(a, b)
            found.append(self.unlike(half, carry))
            carry = self.either(self.both(a, b), self.both(half, carry))
        return found, carry

    def below(self, one: Word, other: Word) -> int:
        """Return the literal that is 1 when one word is less than another, without signs."""
        return self.sum(one, [bit ^ 1 for bit in other], 1)[1] ^ 1

    def same(self, one: Word, other: Word) -> int:
        """Return the literal that is 1 when two words are equal."""
        bits = [self.unlike(a, b) ^ 1 for a, b in zip(one, other, strict=True)]
        return reduce(self.both, bits, 1)

    def shifted(self, word: Word, by: Word, down: bool, filled: int) -> Word:
        """Return a word shifted up or down by another one, with a bit coming in."""
        for n, bit in enumerate(by):
            places = min(1 << n, len(word))
            fill = [filled] * places
            moved = [*word[places:], *fill] if down else [*fill, *word[: len(word) - places]]
            word = [self.choice(bit, a, b) for a, b in zip(moved, word, strict=True)]
        return word


Operation = Callable[[Blaster, z3.ExprRef, list[Word]], Word]


def _bit_by_bit(operate: Callable[[Blaster, int, int], int]) -> Operation:
    def make(put: Blaster, part: z3.ExprRef, words: list[Word]) -> Word:
        del part

        def join(one: Word, other: Word) -> Word:
            return [operate(put, a, b) for a, b in zip(one, other, strict=True)]

        return reduce(join, words)

    return make


def _inverted(put: Blaster, part: z3.ExprRef, words: list[Word]) -> Word:
    del put, part
    return [bit ^ 1 for bit in words[0]]


def _choice(put: Blaster, part: z3.ExprRef, words: list[Word]) -> Word:
    del part
    (which,), one, other = words
    return [put.choice(which, a, b) for a, b in zip(one, other, strict=True)]


def _concat(put: Blaster, part: z3.ExprRef, words: list[Word]) -> Word:
    del put, part
    return [bit for word in reversed(words) for bit in word]


def _extract(put: Blaster, part: z3.ExprRef, words: list[Word]) -> Word:
    del put
    high, low = part.params()
    return words[0][low : high + 1]


def _extended(signed: bool) -> Operation:
    def make(put: Blaster, part: z3.ExprRef, words: list[Word]) -> Word:
        del put
        (word,) = words
        return [*word, *[word[-1] if signed else 0] * (part.size() - len(word))]

    return make


def _sum(put: Blaster, part: z3.ExprRef, words: list[Word]) -> Word:
    del part
    return reduce(lambda one, other: put.sum(one, other)[0], words)


def _difference(put: Blaster, part: z3.ExprRef, words: list[Word]) -> Word:
    del part
    return reduce(lambda one, other: put.sum(one, [b ^ 1 for b in other], 1)[0], words)


def _negative(put: Blaster, part: z3.ExprRef, words: list[Word]) -> Word:
    return _difference(put, part, [[0] * len(words[0]), words[0]])


def _product(put: Blaster, part: z3.ExprRef, words: list[Word]) -> Word:
    del part

    def times(one: Word, other: Word) -> Word:
        total = [0] * len(one)
        for n, bit in enumerate(other):
            row = [*[0] * n, *(put.both(bit, a) for a in one[: len(one) - n])]
            total = put.sum(total, row)[0]
        return total

    return reduce(times, words)


def _order(swapped: bool, inverted: bool, signed: bool) -> Operation:
    def make(put: Blaster, part: z3.ExprRef, words: list[Word]) -> Word:
        del part
        one, other = ([*w[:-1], w[-1] ^ 1] for w in words) if signed else words
        below = put.below(other, one) if swapped else put.below(one, other)
        return [below ^ inverted]

    return make


def _equal(put: Blaster, part: z3.ExprRef, words: list[Word]) -> Word:
    del part
    return [put.same(*words)]


def _distinct(put: Blaster, part: z3.ExprRef, words: list[Word]) -> Word:
    del part
    pairs = [(a, b) for n, a in enumerate(words) for b in words[:n]]
    return [reduce(put.both, [put.same(a, b) ^ 1 for a, b in pairs])]


def _implied(put: Blaster, part: z3.ExprRef, words: list[Word]) -> Word:
    del part
    (one,), (other,) = words
    return [put.either(one ^ 1, other)]


def _shift(down: bool, signed: bool = False) -> Operation:
    def make(put: Blaster, part: z3.ExprRef, words: list[Word]) -> Word:
        del part
        word, by = words
        return put.shifted(word, by, down, word[-1] if signed else 0)

    return make


def _orders() -> Iterator[tuple[int, Operation]]:
    """Yield the four comparisons, with signs and without."""
    kinds = (
        (z3.Z3_OP_ULT, z3.Z3_OP_UGEQ, z3.Z3_OP_UGT, z3.Z3_OP_ULEQ),
        (z3.Z3_OP_SLT, z3.Z3_OP_SGEQ, z3.Z3_OP_SGT, z3.Z3_OP_SLEQ),
    )
    for signed, four in enumerate(kinds):
        for n, kind in enumerate(four):
            yield kind, _order(swapped=n > 1, inverted=n % 2 == 1, signed=bool(signed))


_and, _or, _xor = map(_bit_by_bit, (Blaster.both, Blaster.either, Blaster.unlike))
_OPERATIONS: dict[int, Operation] = {
    z3.Z3_OP_AND: _and,
    z3.Z3_OP_OR: _or,
    z3.Z3_OP_NOT: _inverted,
    z3.Z3_OP_XOR: _xor,
    z3.Z3_OP_IMPLIES: _implied,
    z3.Z3_OP_EQ: _equal,
    z3.Z3_OP_IFF: _equal,
    z3.Z3_OP_DISTINCT: _distinct,
    z3.Z3_OP_ITE: _choice,
    z3.Z3_OP_BADD: _sum,
    z3.Z3_OP_BSUB: _difference,
    z3.Z3_OP_BMUL: _product,
    z3.Z3_OP_BNEG: _negative,
    z3.Z3_OP_BAND: _and,
    z3.Z3_OP_BOR: _or,
    z3.Z3_OP_BXOR: _xor,
    z3.Z3_OP_BNOT: _inverted,
    z3.Z3_OP_CONCAT: _concat,
    z3.Z3_OP_EXTRACT: _extract,
    z3.Z3_OP_ZERO_EXT: _extended(signed=False),
    z3.Z3_OP_SIGN_EXT: _extended(signed=True),
    z3.Z3_OP_BSHL: _shift(down=False),
    z3.Z3_OP_BLSHR: _shift(down=True),
    z3.Z3_OP_BASHR: _shift(down=True, signed=True),
    **dict(_orders()),
}
