"""What may hold of registers that count: distances, orders, ends, equal ones under a condition."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations, permutations

import numpy as np
import z3

from refmodel.prove.arrays import Array
from refmodel.prove.number import wide
from refmodel.prove.seen import (
    BENCH,
    CORE,
    FEWEST,
    HOST,
    SPLIT,
    Atom,
    Candidate,
    Seen,
    distinct,
    given,
    side_of,
)

FEW_VALUES = 4  # a register that takes no more is said to
WIDEST_COUNTER = 8  # bits of a register that may count in step with another


class Counters(Seen):
    """Reads off states what may hold of counters."""

    def find(self) -> Iterator[Candidate]:
        """Yield the candidates."""
        for guard in distinct([*self._both_ways(), *self._values, *self._split_bits()]):
            yield from self._counters_equal(guard)
        yield from self._few_values()
        yield from self._at_most()
        yield from self._sums()
        yield from self._in_order()

    def _few_values(self) -> Iterator[Candidate]:
        """Yield which registers of some bits take few values only, perhaps under a flag."""
        every = Atom("", z3.BoolVal(True), np.ones(self._size, bool), "")
        flags = self._both_ways()
        for name in self._sides:
            held, fewest = self._state[name], self._size
            if held.size() == 1:
                continue
            for guard in (every, *distinct(flags)):
                if np.count_nonzero(guard.seen) < FEWEST:
                    continue
                values = np.unique(self._samples[name][guard.seen]).tolist()
                if len(values) <= FEW_VALUES and len(values) < fewest:
                    truth = z3.Or([held == value for value in values])
                    said = f"{name} is one of {', '.join(map(str, values))}"
                    yield given(guard if guard.of else None, said, truth)
                    fewest = len(values) if guard is every else fewest

    def _at_most(self) -> Iterator[Candidate]:
        """Yield how far each counter goes, if it does not use all of its bits.

        The runs may not have come to a narrow one's end: every end above is offered as well.
        """
        for name in self._sides:
            held, top = self._state[name], int(self._samples[name].max())
            if not 2 < held.size() <= WIDEST_COUNTER:
                continue
            highest = (1 << held.size()) - 2
            for end in range(top, highest + 1 if held.size() <= SPLIT else min(top, highest) + 1):
                yield Candidate(f"{name} <= {end}", z3.ULE(held, end))

    def _counters_equal(self, guard: Atom) -> Iterator[Candidate]:
        """Yield which two counters are equal where a condition holds, and not everywhere."""
        if np.count_nonzero(guard.seen) < FEWEST:
            return
        candidates = [*self._sides, *(n for n in self._others if n.startswith((HOST, BENCH)))]
        names = [n for n in candidates if 2 < self._state[n].size() <= WIDEST_COUNTER]
        for one, other in combinations(names, 2):
            first, second = self._samples[one], self._samples[other]
            a, b = first[guard.seen], second[guard.seen]
            if (a == b).all() and a.min() != a.max() and not (first == second).all():
                same = wide(self._state[one]) == wide(self._state[other])
                yield given(guard, f"{one} = {other}", z3.simplify(same))

    def _sums(self) -> Iterator[Candidate]:
        """Yield which registers keep a constant distance or sum, two or three of them."""
        names = [n for n in self._sides if self._state[n].size() > 2]
        known: set[tuple[str, ...]] = set()
        flags = [*self._both_ways(), *self._split_bits()]
        for guard in (None, *distinct(flags)):
            where = np.ones(self._size, bool) if guard is None else guard.seen
            if np.count_nonzero(where) < FEWEST:
                continue
            columns = {n: self._samples[n][where].astype(np.int64) for n in names}
            moving = {n: c for n, c in columns.items() if c.min() != c.max()}
            yield from self._sums_of(moving, guard, known)

    def _sums_of(
        self, columns: Mapping[str, Array], guard: Atom | None, known: set[tuple[str, ...]]
    ) -> Iterator[Candidate]:
        seen: dict[bytes, str] = {}
        for name, column in columns.items():
            seen.setdefault((column - column[0]).tobytes(), name)
        for one, other in combinations(columns, 2):
            for sign in (1, -1):
                both = columns[one] + sign * columns[other]
                if both.min() == both.max() and (one, other) not in known:
                    yield self._sum(guard, [(1, one), (sign, other)], int(both[0]))
                    if guard is None:
                        known.add((one, other))
        for one in (n for n in columns if n.startswith(CORE)):
            for other in columns:
                for sign in (1, -1):
                    both = columns[one] + sign * columns[other]
                    third = seen.get((both - both[0]).tobytes())
                    if other == one or third is None or third in (one, other):
                        continue
                    rest = int(both[0] - columns[third][0])
                    if (one, other, third) not in known:
                        yield self._sum(guard, [(1, one), (sign, other), (-1, third)], rest)
                    if guard is None:
                        known.add((one, other, third))

    def _sum(self, guard: Atom | None, parts: list[tuple[int, str]], value: int) -> Candidate:
        width = max(self._state[name].size() for _, name in parts) + 2
        total = z3.BitVecVal(0, width)
        for sign, name in parts:
            held = self._state[name]
            wide = z3.ZeroExt(width - held.size(), held)
            total = total + wide if sign > 0 else total - wide
        said = "".join(f" {'+' if sign > 0 else '-'} {name}" for sign, name in parts)
        return given(guard, f"{said.removeprefix(' + ')} is {value}", total == value)

    def _in_order(self) -> Iterator[Candidate]:
        """Yield which counter is never above another of its side, perhaps where a flag is up."""
        names = [n for n in self._sides if 2 < self._state[n].size() <= WIDEST_COUNTER]
        known: set[tuple[str, str]] = set()
        for guard in (None, *distinct(self._flags)):
            where = np.ones(self._size, bool) if guard is None else guard.seen
            if np.count_nonzero(where) < FEWEST:
                continue
            for one, other in permutations(names, 2):
                a, b = self._state[one], self._state[other]
                if a.size() != b.size() or side_of(one) != side_of(other):
                    continue
                low, high = self._samples[one][where], self._samples[other][where]
                if (one, other) in known or not (low <= high).all():
                    continue
                if (low < high).all():
                    known |= {(one, other)} if guard is None else set()
                    yield given(guard, f"{one} < {other}", z3.ULT(a, b))
                elif guard is None:
                    yield given(guard, f"{one} <= {other}", z3.ULE(a, b))
