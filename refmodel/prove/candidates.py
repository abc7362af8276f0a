"""What may hold in every state: read off the states that many runs came through.

Nothing here is proved. A relation that held in all states seen is a candidate, and `induction`
keeps those that follow from themselves.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, permutations

import numpy as np
import z3

from refmodel.prove.arrays import Array
from refmodel.prove.counters import Counters
from refmodel.prove.seen import (
    BENCH,
    CORE,
    FEWEST,
    HOST,
    MODEL,
    NARROW,
    ON_ITS_WAY,
    SIDES,
    SPLIT,
    Atom,
    Candidate,
    Seen,
    distinct,
    given,
    opposite,
    side,
)
from refmodel.prove.system import System
from refmodel.prove.walk import Values


class Finder(Seen):
    """Reads candidates off states."""

    def __init__(self, system: System, samples: Values) -> None:
        super().__init__(system, samples)
        self._counters = Counters(system, samples)

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
        for guard in distinct(self._pairs_of_values()):
            yield from self._stored(guard, stores, bits=False)
            yield from self._decided(guard)
        for guard in distinct(self._values_of_counters()):
            for name in stores:
                yield from self._explained(guard, name)
        yield from self._implied()
        yield from self._counters.find()

    def _guards(self) -> list[Atom]:
        """Return conditions under which more may be known, each once by where it holds."""
        flags = self._both_ways()
        return [
            guard
            for guard in distinct([*flags, *self._values])
            if np.count_nonzero(guard.seen) >= FEWEST and not guard.seen.all()
        ]

    def _stored(self, guard: Atom, stores: list[str], bits: bool) -> Iterator[Candidate]:
        """Yield which word a store holds where a condition holds, or what is known of its bits."""
        if np.count_nonzero(guard.seen) < FEWEST:
            return
        left = []
        for name in stores:
            held, seen = self._state[name], self._samples[name][guard.seen]
            if not seen.any():
                yield given(guard, f"{name} is 0", held == 0)
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
                yield given(guard, f"{name} = {other}", held == self._state[other])
            if not same:
                left.append(name)
        if bits:
            yield from self._under(guard, [a for a in self._bits if a.of in left])

    def _decided(self, guard: Atom) -> Iterator[Candidate]:
        """Yield which narrow registers of the core can have one value only under a condition."""
        if np.count_nonzero(guard.seen) < FEWEST:
            return
        for name in self._sides:
            held = self._state[name]
            if name.startswith(MODEL) or not 1 < held.size() <= NARROW or name in guard.said:
                continue
            values = np.unique(self._samples[name][guard.seen])
            if len(values) == 1:
                yield given(guard, f"{name} is {int(values[0])}", held == int(values[0]))

    def _differing(self) -> Iterator[Atom]:
        """Yield whether two flags of the core differ: one may follow from two that turn."""
        flags = [flag for flag in self._flags if flag.of.startswith(CORE)]
        for one, other in combinations(flags, 2):
            truth = z3.Xor(one.truth, other.truth)
            yield Atom(f"{one.said} ^ {other.said}", truth, one.seen ^ other.seen, one.of)

    def _comparisons(self) -> Iterator[Atom]:
        """Yield whether two wide registers of one side are equal."""
        for begin in SIDES:
            wide = [n for n, v in self._state.items() if n.startswith(begin) and v.size() > NARROW]
            for one, other in combinations(wide, 2):
                a, b = self._state[one], self._state[other]
                if a.size() == b.size():
                    seen = np.asarray(self._samples[one] == self._samples[other], bool)
                    yield Atom(f"({one} == {other})", a == b, seen, one)

    def _classes(self, atoms: list[Atom], where: Array, guard: Atom | None) -> Iterator[Candidate]:
        """Yield which atoms are constant, or equal or opposite to an earlier one."""
        first: dict[bytes, Atom] = {}
        for atom in atoms:
            seen = atom.seen[where]
            if not len(seen):
                return
            if seen.all() or not seen.any():
                constant = atom.truth if seen[0] else z3.Not(atom.truth)
                yield given(guard, f"{atom.said} is {int(seen[0])}", constant)
                continue
            key, opposite = (np.packbits(s).tobytes() for s in (seen, ~seen))
            if key in first and not _twice(first[key], atom):
                yield given(
                    guard, f"{atom.said} = {first[key].said}", atom.truth == first[key].truth
                )
            elif opposite in first and not _twice(first[opposite], atom):
                other = first[opposite]
                yield given(guard, f"{atom.said} = not {other.said}", atom.truth != other.truth)
            else:
                first.setdefault(key, atom)

    def _loose(self) -> list[Atom]:
        """Return bits of model and core, not constant, that equal no bit of the other side."""
        keys: dict[bytes, set[str]] = {}
        for atom in self._bits:
            for seen in (atom.seen, ~atom.seen):
                keys.setdefault(np.packbits(seen).tobytes(), set()).add(side(atom))
        loose = []
        for atom in self._bits:
            sides = keys[np.packbits(atom.seen).tobytes()]
            moves = atom.seen.any() and not atom.seen.all() and atom.of.startswith(SIDES)
            if moves and not sides >= {MODEL, CORE}:
                loose.append(atom)
        return loose

    def _under(self, guard: Atom, loose: list[Atom]) -> Iterator[Candidate]:
        """Yield what is known of loose bits where a condition holds."""
        if np.count_nonzero(guard.seen) < FEWEST or guard.seen.all():
            return
        others: dict[bytes, list[Atom]] = {}
        for atom in self._bits:
            if side(atom) == MODEL:
                alike = others.setdefault(np.packbits(atom.seen[guard.seen]).tobytes(), [])
                if not alike or atom.of.startswith(ON_ITS_WAY):
                    alike.append(atom)
        for atom in loose:
            if atom.of == guard.of:
                continue
            seen = atom.seen[guard.seen]
            if seen.all() or not seen.any():
                constant = atom.truth if seen[0] else z3.Not(atom.truth)
                yield given(guard, f"{atom.said} is {int(seen[0])}", constant)
            elif side(atom) == CORE:
                same, unlike = (others.get(np.packbits(s).tobytes(), []) for s in (seen, ~seen))
                for other in same:
                    yield given(guard, f"{atom.said} = {other.said}", atom.truth == other.truth)
                for other in () if same else unlike:
                    said = f"{atom.said} = not {other.said}"
                    yield given(guard, said, atom.truth != other.truth)

    def _pairs_of_values(self) -> Iterator[Atom]:
        """Yield values of two narrow registers at once, one of each side."""
        narrow = [a for a in self._values if 1 < self._state[a.of].size() <= 3]
        for one, other in combinations(narrow, 2):
            if side(one) != side(other):
                said = f"{one.said} and {other.said}"
                truth = z3.And(one.truth, other.truth)
                yield Atom(said, truth, one.seen & other.seen, one.of)

    def _implied(self) -> Iterator[Candidate]:
        """Yield which flags go with which others."""
        zeros = [
            a for a in self._values if a.said.endswith("== 0") or a.of.startswith((HOST, BENCH))
        ]
        flags = [a for a in (*self._flags, *zeros) if a.seen.any() and not a.seen.all()]
        both = [*flags, *(opposite(flag) for flag in flags)]
        for one, other in permutations(both, 2):
            if one.of < other.of and not (one.seen & other.seen).any():
                yield Candidate(
                    f"not both {one.said} and {other.said}", z3.Not(z3.And(one.truth, other.truth))
                )

    def _values_of_counters(self) -> Iterator[Atom]:
        """Yield each value that a counter of the model takes, if it is not narrow."""
        for name in self._others:
            if name.startswith(MODEL) and NARROW < self._state[name].size() <= SPLIT:
                yield from self._values_of(name, SPLIT)

    def _explained(self, guard: Atom, name: str) -> Iterator[Candidate]:
        """Yield what a store of the core holds under a condition, if that tells all its bits."""
        if not name.startswith(CORE) or np.count_nonzero(guard.seen) < FEWEST:
            return
        bits = [atom for atom in self._bits if atom.of == name]
        found = list(self._under(guard, bits))
        if len(found) == len(bits):
            yield from found


def _twice(one: Atom, other: Atom) -> bool:
    """Return whether two atoms tell of the same register only."""
    return one.of == other.of and "^" not in one.said + other.said and "==" not in other.said
