"""What a count of the model tells of other registers, perhaps only while a flag is up.

A word that shifts behind an end mark counts by the place of the mark. So where the model's count is
n, each bit of such a register is constant, or a bit of the model.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from itertools import product

import numpy as np
import z3

from refmodel.prove.arrays import Array
from refmodel.prove.seen import (
    CORE,
    FEWEST,
    MODEL,
    NARROW,
    SPLIT,
    Atom,
    Candidate,
    Seen,
    distinct,
    given,
    opposite,
)
from refmodel.prove.system import System
from refmodel.prove.walk import Values

FEWEST_VALUES = 3  # of a count while a flag is up; with fewer it counts nothing there
SEED = 1
HEAVIEST = 1 << 30  # sums of so many such weights as there are states are exact
_Told = tuple[Atom, Atom, Atom | None]  # a condition, a bit, and which one it equals there


class Explained(Seen):
    """Reads off states what counts tell."""

    def __init__(self, system: System, samples: Values) -> None:
        super().__init__(system, samples)
        self._rows = [a for a in self._bits if a.of.startswith((MODEL, CORE))]
        self._rows_of: dict[str, list[int]] = defaultdict(list)
        for row, atom in enumerate(self._rows):
            self._rows_of[atom.of].append(row)
        seen = np.array([a.seen for a in self._rows], float).reshape(len(self._rows), -1)
        self._known = np.ascontiguousarray(seen.T)  # a state a row, a bit a column
        self._weights = np.random.default_rng(SEED).integers(1, HEAVIEST, self._size).astype(float)
        self._loose = self._loose_registers()
        sizes = {name: held.size() for name, held in self._state.items()}
        self._counts = [
            n for n in self._sides if n.startswith(MODEL) and NARROW < sizes[n] <= SPLIT
        ]
        self._words = [n for n in self._sides if n.startswith(MODEL) and sizes[n] > SPLIT]

    def find(self) -> Iterator[Candidate]:
        """Yield the candidates."""
        yield from self._three_flags()
        flags = [flag for flag in distinct(self._both_ways()) if flag.of.startswith(MODEL)]
        every = Atom("", z3.BoolVal(True), np.ones(self._size, bool), "")
        often = sorted([every, *flags], key=lambda flag: -np.count_nonzero(flag.seen))
        for count in self._counts:
            values = list(self._values_of(count, SPLIT))
            yield from self._told(values, often)
            yield from self._filled(values)
        yield from self._ends(flags)

    def _loose_registers(self) -> list[str]:
        """Return the core's registers of some bits of which one equals no bit of the model."""
        known = {
            np.packbits(seen).tobytes()
            for atom in self._rows
            if atom.of.startswith(MODEL)
            for seen in (atom.seen, ~atom.seen)
        }
        loose = [
            atom.of
            for atom in self._rows
            if atom.of.startswith(CORE)
            and self._state[atom.of].size() > 1
            and atom.seen.any()
            and not atom.seen.all()
            and np.packbits(atom.seen).tobytes() not in known
        ]
        return list(dict.fromkeys(loose))

    def _told(self, values: Sequence[Atom], flags: Sequence[Atom]) -> Iterator[Candidate]:
        """Yield all bits of the registers that a count tells, under the flags that are up most.

        What a flag tells alone is left out.
        """
        under: dict[str, list[Array]] = defaultdict(list)
        for flag in flags:
            alone = self._bits_under(flag)
            names = [
                name
                for name in self._loose
                if not self._all_in(name, alone)
                and not any((flag.seen <= seen).all() for seen in under[name])
            ]
            for name, told in self._told_under(values, flag, names).items():
                under[name].append(flag.seen)
                yield from told

    def _told_under(
        self, values: Sequence[Atom], flag: Atom, names: Sequence[str]
    ) -> dict[str, Iterator[Candidate]]:
        """Return what is known of those registers of which every value of a count tells all."""
        found: dict[str, list[_Told]] = {name: [] for name in names}
        counted = 0
        for value in values:
            guard = _both(value, flag)
            if np.count_nonzero(guard.seen) < FEWEST:
                continue
            counted += 1
            bits = self._bits_under(guard)
            for name in list(found):
                if self._all_in(name, bits):
                    rows = self._rows_of[name]
                    found[name] += [(guard, self._rows[row], bits[row]) for row in rows]
                else:
                    del found[name]
            if not found:
                return {}
        enough = counted >= FEWEST_VALUES
        return {name: map(_candidate, told) for name, told in found.items() if enough}

    def _all_in(self, name: str, bits: Collection[int]) -> bool:
        return all(row in bits for row in self._rows_of[name])

    def _bits_under(self, guard: Atom) -> dict[int, Atom | None]:
        """Return, by row, which bit of the model a bit of the core is; None for one that rests."""
        where = np.flatnonzero(guard.seen)
        weights = self._weights[where]
        sums = (weights @ self._known[where]).tolist()
        total = float(weights.sum())
        models: dict[float, Atom] = {}
        found: dict[int, Atom | None] = {}
        for row, (atom, key) in enumerate(zip(self._rows, sums, strict=True)):
            if key in (0, total):
                found[row] = None
            elif atom.of.startswith(MODEL):
                models.setdefault(key, atom)
            elif key in models:
                found[row] = models[key]
        return found

    def _filled(self, values: Sequence[Atom]) -> Iterator[Candidate]:
        """Yield the constant bits of a word of the model that a count fills or empties."""
        known = [value for value in values if np.count_nonzero(value.seen) >= FEWEST]
        under = [self._bits_under(value) for value in known]
        for name in self._words:
            fixed = [[row for row in self._rows_of[name] if row in bits] for bits in under]
            sizes = [len(rows) for rows in fixed]
            if sizes not in (sorted(sizes), sorted(sizes, reverse=True)):
                continue
            if 2 * len(set(sizes)) <= len(sizes) or len(sizes) < FEWEST_VALUES:
                continue
            for value, rows in zip(known, fixed, strict=True):
                yield from (_candidate((value, self._rows[row], None)) for row in rows)

    def _three_flags(self) -> Iterator[Candidate]:
        """Yield which flags are never together, three of them, where any two of them are.

        One is of the model and equals none of the core's, one is the core's.
        """
        moving = [f for f in self._flags if f.seen.any() and not f.seen.all()]
        cores = [f for f in moving if f.of.startswith(CORE)]
        known = {np.packbits(s).tobytes() for f in cores for s in (f.seen, ~f.seen)}
        models = [f for f in moving if f.of.startswith(MODEL)]
        loose = [f for f in models if np.packbits(f.seen).tobytes() not in known]
        for one, other, third in product(_ways(loose), _ways(cores), _ways(moving)):
            if third.of in (one.of, other.of):
                continue
            pairs = ((one, other), (one, third), (other, third))
            if (one.seen & other.seen & third.seen).any():
                continue
            if all((a.seen & b.seen).any() for a, b in pairs):
                said = f"not all of {one.said}, {other.said} and {third.said}"
                yield Candidate(said, z3.Not(z3.And(one.truth, other.truth, third.truth)))

    def _ends(self, flags: Sequence[Atom]) -> Iterator[Candidate]:
        """Yield how far a count goes while a flag is up, or while something is 0 or is not."""
        zeros = [a for a in self._values if a.of.startswith(MODEL) and a.said.endswith("== 0")]
        guards = distinct([*flags, *zeros, *map(opposite, zeros)])
        for name in self._counts:
            seen, held = self._samples[name], self._state[name]
            for guard in guards:
                if np.count_nonzero(guard.seen) < FEWEST:
                    continue
                end = int(seen[guard.seen].max())
                if 0 < end < int(seen.max()):
                    yield given(guard, f"{name} <= {end}", z3.ULE(held, end))


def _ways(flags: Sequence[Atom]) -> list[Atom]:
    """Return flags and their opposites."""
    return [*flags, *map(opposite, flags)]


def _both(value: Atom, flag: Atom) -> Atom:
    """Return the condition that a count has a value while a flag is up."""
    if not flag.of:
        return value
    truth = z3.And(value.truth, flag.truth)
    return Atom(f"{value.said} and {flag.said}", truth, value.seen & flag.seen, value.of)


def _candidate(told: _Told) -> Candidate:
    """Return what a bit is under a condition."""
    guard, atom, other = told
    if other is not None:
        return given(guard, f"{atom.said} = {other.said}", atom.truth == other.truth)
    value = bool(atom.seen[np.argmax(guard.seen)])
    return given(guard, f"{atom.said} is {int(value)}", atom.truth if value else z3.Not(atom.truth))
