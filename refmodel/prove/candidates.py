"""What may hold in every state: read off the states that many runs came through.

Nothing here is proved. A relation that held in all states seen is a candidate, and `induction`
keeps those that follow from themselves.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations, permutations

import numpy as np
import z3

from refmodel.prove.arrays import Array
from refmodel.prove.number import wide
from refmodel.prove.system import System
from refmodel.prove.walk import Values

NARROW = 3  # bits of a register whose single values are looked at
SPLIT = 5  # bits of a register whose single bits are conditions for counters
FEWEST = 24  # states in which a condition must hold before something is read off under it
FEW_VALUES = 4  # a register that takes no more is said to
WIDEST_COUNTER = 8  # bits of a register that may count in step with another
MODEL, CORE = "model.", "core."
SIDES = (MODEL, CORE)
BENCH = "bench."  # what the bench remembers of model and bus


@dataclass(frozen=True)
class Candidate:
    """Something that held in all states seen: in words, and as a condition on the state."""

    said: str
    holds: z3.BoolRef


@dataclass(frozen=True)
class _Atom:
    """A condition that can be seen in a state, and where it held."""

    said: str
    truth: z3.BoolRef
    seen: Array
    of: str  # the register


class Finder:
    """Reads candidates off states."""

    def __init__(self, system: System, samples: Values) -> None:
        order = sorted(system.state, key=_rank)
        self._state = {name: system.state[name] for name in order}
        self._samples = samples
        self._size = len(next(iter(samples.values()))) if samples else 0
        self._bits = [atom for name in order for atom in self._bits_of(name)]
        self._flags = [
            a for a in self._bits if self._state[a.of].size() == 1 and a.of.startswith(SIDES)
        ]
        watched = [name for name in order if name.startswith((*SIDES, BENCH))]
        self._values = [a for name in watched for a in self._values_of(name)]
        self._others = [name for name in watched if not name.startswith(CORE)]
        self._sides = [name for name in order if name.startswith(SIDES)]

    def find(self) -> list[Candidate]:
        """Return the candidates, each once."""
        found: dict[str, Candidate] = {}
        for candidate in self._all():
            found.setdefault(candidate.said, candidate)
        return list(found.values())

    def _all(self) -> Iterator[Candidate]:
        same = [*self._bits, *self._values, *self._differing(), *self._comparisons()]
        everywhere = np.ones(self._size, bool)
        yield from self._classes(same, everywhere, None)
        loose = self._loose()
        stores = list(dict.fromkeys(a.of for a in loose if self._state[a.of].size() > NARROW))
        guards = self._guards()
        for guard in guards:
            yield from self._under(guard, [a for a in loose if a.of not in stores])
            yield from self._stored(guard, stores, bits=True)
        for guard in _distinct(self._pairs_of_values()):
            yield from self._stored(guard, stores, bits=False)
            yield from self._decided(guard)
        for guard in _distinct([*guards, *self._split_bits()]):
            yield from self._counters_equal(guard)
        yield from self._implied()
        yield from self._few_values()
        yield from self._at_most()
        yield from self._sums()
        yield from self._in_order()

    def _guards(self) -> list[_Atom]:
        """Return conditions under which more may be known, each once by where it holds."""
        flags = [*self._flags, *(_not(flag) for flag in self._flags)]
        return [
            guard
            for guard in _distinct([*flags, *self._values])
            if np.count_nonzero(guard.seen) >= FEWEST and not guard.seen.all()
        ]

    def _stored(self, guard: _Atom, stores: list[str], bits: bool) -> Iterator[Candidate]:
        """Yield which word a store holds where a condition holds, or what is known of its bits."""
        if np.count_nonzero(guard.seen) < FEWEST:
            return
        left = []
        for name in stores:
            held, seen = self._state[name], self._samples[name][guard.seen]
            if not seen.any():
                yield _given(guard, f"{name} is 0", held == 0)
                continue
            same = [
                other
                for other in self._others
                if other != name
                and self._state[other].size() == held.size()
                and name.startswith(CORE)
                and bool((self._samples[other][guard.seen] == seen).all())
            ]  # fmt: skip
            for other in same:
                yield _given(guard, f"{name} = {other}", held == self._state[other])
            if not same:
                left.append(name)
        if bits:
            yield from self._under(guard, [a for a in self._bits if a.of in left])

    def _decided(self, guard: _Atom) -> Iterator[Candidate]:
        """Yield which narrow registers of the core can have one value only under a condition."""
        if np.count_nonzero(guard.seen) < FEWEST:
            return
        for name in self._sides:
            held = self._state[name]
            if name.startswith(MODEL) or not 1 < held.size() <= NARROW or name in guard.said:
                continue
            values = np.unique(self._samples[name][guard.seen])
            if len(values) == 1:
                yield _given(guard, f"{name} is {int(values[0])}", held == int(values[0]))

    def _bits_of(self, name: str) -> Iterator[_Atom]:
        held = self._state[name]
        for n in range(held.size()):
            said = name if held.size() == 1 else f"{name}[{n}]"
            seen = (self._samples[name] >> self._number(n, name)) & self._number(1, name) != 0
            yield _Atom(said, z3.Extract(n, n, held) == 1, np.asarray(seen, bool), name)

    def _number(self, value: int, name: str) -> object:
        return value if self._samples[name].dtype == object else np.uint64(value)

    def _values_of(self, name: str) -> Iterator[_Atom]:
        """Yield each value a narrow register has taken; of a wide one whether it is 0."""
        held, seen = self._state[name], self._samples[name]
        if held.size() == 1:
            return
        values = np.unique(seen).tolist() if held.size() <= NARROW else [0]
        for value in values:
            yield _Atom(f"{name} == {value}", held == value, np.asarray(seen == value, bool), name)

    def _differing(self) -> Iterator[_Atom]:
        """Yield whether two flags of the core differ: one may be told by two that turn."""
        flags = [flag for flag in self._flags if flag.of.startswith(CORE)]
        for one, other in combinations(flags, 2):
            truth = z3.Xor(one.truth, other.truth)
            yield _Atom(f"{one.said} ^ {other.said}", truth, one.seen ^ other.seen, one.of)

    def _comparisons(self) -> Iterator[_Atom]:
        """Yield whether two wide registers of one side are equal."""
        for side in (MODEL, CORE):
            wide = [n for n, v in self._state.items() if n.startswith(side) and v.size() > NARROW]
            for one, other in combinations(wide, 2):
                a, b = self._state[one], self._state[other]
                if a.size() == b.size():
                    seen = np.asarray(self._samples[one] == self._samples[other], bool)
                    yield _Atom(f"({one} == {other})", a == b, seen, one)

    def _classes(
        self, atoms: list[_Atom], where: Array, guard: _Atom | None
    ) -> Iterator[Candidate]:
        """Yield which atoms are constant, or equal or opposite to an earlier one."""
        first: dict[bytes, _Atom] = {}
        for atom in atoms:
            seen = atom.seen[where]
            if not len(seen):
                return
            if seen.all() or not seen.any():
                constant = atom.truth if seen[0] else z3.Not(atom.truth)
                yield _given(guard, f"{atom.said} is {int(seen[0])}", constant)
                continue
            key, opposite = (np.packbits(s).tobytes() for s in (seen, ~seen))
            if key in first and not _twice(first[key], atom):
                yield _given(
                    guard, f"{atom.said} = {first[key].said}", atom.truth == first[key].truth
                )
            elif opposite in first and not _twice(first[opposite], atom):
                other = first[opposite]
                yield _given(guard, f"{atom.said} = not {other.said}", atom.truth != other.truth)
            else:
                first.setdefault(key, atom)

    def _loose(self) -> list[_Atom]:
        """Return bits of model and core, not constant, that equal no bit of the other side."""
        keys: dict[bytes, set[str]] = {}
        for atom in self._bits:
            for seen in (atom.seen, ~atom.seen):
                keys.setdefault(np.packbits(seen).tobytes(), set()).add(_side(atom))
        loose = []
        for atom in self._bits:
            sides = keys[np.packbits(atom.seen).tobytes()]
            moves = atom.seen.any() and not atom.seen.all() and atom.of.startswith(SIDES)
            if moves and not sides >= {MODEL, CORE}:
                loose.append(atom)
        return loose

    def _under(self, guard: _Atom, loose: list[_Atom]) -> Iterator[Candidate]:
        """Yield what is known of loose bits where a condition holds."""
        if np.count_nonzero(guard.seen) < FEWEST or guard.seen.all():
            return
        first: dict[bytes, _Atom] = {}
        for atom in self._bits:
            if _side(atom) == MODEL:
                first.setdefault(np.packbits(atom.seen[guard.seen]).tobytes(), atom)
        for atom in loose:
            if atom.of == guard.of:
                continue
            seen = atom.seen[guard.seen]
            if seen.all() or not seen.any():
                constant = atom.truth if seen[0] else z3.Not(atom.truth)
                yield _given(guard, f"{atom.said} is {int(seen[0])}", constant)
            elif _side(atom) == CORE:
                other = first.get(np.packbits(seen).tobytes())
                opposite = first.get(np.packbits(~seen).tobytes())
                if other is not None:
                    yield _given(guard, f"{atom.said} = {other.said}", atom.truth == other.truth)
                elif opposite is not None:
                    yield _given(
                        guard, f"{atom.said} = not {opposite.said}", atom.truth != opposite.truth
                    )

    def _pairs_of_values(self) -> Iterator[_Atom]:
        """Yield values of two narrow registers at once, one of each side."""
        narrow = [a for a in self._values if 1 < self._state[a.of].size() <= 3]
        for one, other in combinations(narrow, 2):
            if _side(one) != _side(other):
                said = f"{one.said} and {other.said}"
                truth = z3.And(one.truth, other.truth)
                yield _Atom(said, truth, one.seen & other.seen, one.of)

    def _implied(self) -> Iterator[Candidate]:
        """Yield which flags go with which others."""
        zeros = [a for a in self._values if a.said.endswith("== 0")]
        flags = [a for a in (*self._flags, *zeros) if a.seen.any() and not a.seen.all()]
        both = [*flags, *(_not(flag) for flag in flags)]
        for one, other in permutations(both, 2):
            if one.of < other.of and not (one.seen & other.seen).any():
                yield Candidate(
                    f"not both {one.said} and {other.said}", z3.Not(z3.And(one.truth, other.truth))
                )

    def _few_values(self) -> Iterator[Candidate]:
        """Yield which registers of some bits take few values only, perhaps under a flag."""
        every = _Atom("", z3.BoolVal(True), np.ones(self._size, bool), "")
        flags = [*self._flags, *(_not(flag) for flag in self._flags)]
        for name in self._sides:
            held, told = self._state[name], self._size
            if held.size() == 1:
                continue
            for guard in (every, *_distinct(flags)):
                if np.count_nonzero(guard.seen) < FEWEST:
                    continue
                values = np.unique(self._samples[name][guard.seen]).tolist()
                if len(values) <= FEW_VALUES and len(values) < told:
                    truth = z3.Or([held == value for value in values])
                    said = f"{name} is one of {', '.join(map(str, values))}"
                    yield _given(guard if guard.of else None, said, truth)
                    told = len(values) if guard is every else told

    def _at_most(self) -> Iterator[Candidate]:
        """Yield how far each counter goes, if it does not use all of its bits."""
        for name in self._sides:
            held, top = self._state[name], int(self._samples[name].max())
            if 2 < held.size() <= WIDEST_COUNTER and top + 1 < 1 << held.size():
                yield Candidate(f"{name} <= {top}", z3.ULE(held, top))

    def _split_bits(self) -> Iterator[_Atom]:
        """Yield single bits, and their opposites, of registers that are no flags and not wide."""
        for atom in self._bits:
            if NARROW < self._state[atom.of].size() <= SPLIT and atom.of.startswith(SIDES):
                yield from (atom, _not(atom))

    def _counters_equal(self, guard: _Atom) -> Iterator[Candidate]:
        """Yield which two counters are equal where a condition holds, and not everywhere."""
        if np.count_nonzero(guard.seen) < FEWEST:
            return
        names = [n for n in self._sides if 2 < self._state[n].size() <= WIDEST_COUNTER]
        for one, other in combinations(names, 2):
            first, second = self._samples[one], self._samples[other]
            a, b = first[guard.seen], second[guard.seen]
            if (a == b).all() and a.min() != a.max() and not (first == second).all():
                same = wide(self._state[one]) == wide(self._state[other])
                yield _given(guard, f"{one} = {other}", z3.simplify(same))

    def _sums(self) -> Iterator[Candidate]:
        """Yield which registers keep a constant distance or sum, two or three of them."""
        names = [n for n in self._sides if self._state[n].size() > 2]
        told: set[tuple[str, ...]] = set()
        for guard in (None, *_distinct([*self._flags, *(_not(flag) for flag in self._flags)])):
            where = np.ones(self._size, bool) if guard is None else guard.seen
            if np.count_nonzero(where) < FEWEST:
                continue
            columns = {n: self._samples[n][where].astype(np.int64) for n in names}
            moving = {n: c for n, c in columns.items() if c.min() != c.max()}
            yield from self._sums_of(moving, guard, told)

    def _sums_of(
        self, columns: Mapping[str, Array], guard: _Atom | None, told: set[tuple[str, ...]]
    ) -> Iterator[Candidate]:
        seen: dict[bytes, str] = {}
        for name, column in columns.items():
            seen.setdefault((column - column[0]).tobytes(), name)
        for one, other in combinations(columns, 2):
            for sign in (1, -1):
                both = columns[one] + sign * columns[other]
                if both.min() == both.max() and (one, other) not in told:
                    yield self._sum(guard, [(1, one), (sign, other)], int(both[0]))
                    if guard is None:
                        told.add((one, other))
        for one in (n for n in columns if n.startswith(CORE)):
            for other in columns:
                for sign in (1, -1):
                    both = columns[one] + sign * columns[other]
                    third = seen.get((both - both[0]).tobytes())
                    if other == one or third is None or third in (one, other):
                        continue
                    rest = int(both[0] - columns[third][0])
                    if (one, other, third) not in told:
                        yield self._sum(guard, [(1, one), (sign, other), (-1, third)], rest)
                    if guard is None:
                        told.add((one, other, third))

    def _sum(self, guard: _Atom | None, parts: list[tuple[int, str]], value: int) -> Candidate:
        width = max(self._state[name].size() for _, name in parts) + 2
        total = z3.BitVecVal(0, width)
        for sign, name in parts:
            held = self._state[name]
            wide = z3.ZeroExt(width - held.size(), held)
            total = total + wide if sign > 0 else total - wide
        said = "".join(f" {'+' if sign > 0 else '-'} {name}" for sign, name in parts)
        return _given(guard, f"{said.removeprefix(' + ')} is {value}", total == value)

    def _in_order(self) -> Iterator[Candidate]:
        """Yield which counter is never above another of its side, perhaps where a flag is up."""
        names = [n for n in self._sides if 2 < self._state[n].size() <= WIDEST_COUNTER]
        told: set[tuple[str, str]] = set()
        for guard in (None, *_distinct(self._flags)):
            where = np.ones(self._size, bool) if guard is None else guard.seen
            if np.count_nonzero(where) < FEWEST:
                continue
            for one, other in permutations(names, 2):
                a, b = self._state[one], self._state[other]
                if a.size() != b.size() or _side_of(one) != _side_of(other):
                    continue
                low, high = self._samples[one][where], self._samples[other][where]
                if (one, other) in told or not (low <= high).all():
                    continue
                if (low < high).all():
                    told |= {(one, other)} if guard is None else set()
                    yield _given(guard, f"{one} < {other}", z3.ULT(a, b))
                elif guard is None:
                    yield _given(guard, f"{one} <= {other}", z3.ULE(a, b))


def _distinct(atoms: Iterable[_Atom]) -> list[_Atom]:
    """Return atoms that hold in different states, the first of each kind."""
    found: dict[bytes, _Atom] = {}
    for atom in atoms:
        found.setdefault(np.packbits(atom.seen).tobytes(), atom)
    return list(found.values())


def _rank(name: str) -> tuple[bool, bool, str]:
    return not name.startswith(MODEL), not name.startswith(CORE), name


def _side(atom: _Atom) -> str:
    return _side_of(atom.of)


def _side_of(name: str) -> str:
    return CORE if name.startswith(CORE) else MODEL


def _twice(one: _Atom, other: _Atom) -> bool:
    """Return whether two atoms tell of the same register only."""
    return one.of == other.of and "^" not in one.said + other.said and "==" not in other.said


def _not(atom: _Atom) -> _Atom:
    return _Atom(f"not {atom.said}", z3.Not(atom.truth), ~atom.seen, atom.of)


def _given(guard: _Atom | None, said: str, holds: z3.BoolRef) -> Candidate:
    """Return a candidate that is to hold where a condition does."""
    if guard is None:
        return Candidate(said, holds)
    return Candidate(f"{said}, if {guard.said}", z3.Implies(guard.truth, holds))
