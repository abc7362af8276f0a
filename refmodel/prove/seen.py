"""States that many runs came through, and the conditions that can be read off them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import z3

from refmodel.prove.arrays import Array
from refmodel.prove.system import System
from refmodel.prove.walk import Values

NARROW = 3  # bits of a register whose single values are looked at
SPLIT = 5  # bits of a register whose single bits are conditions for counters
FEWEST = 24  # states in which a condition must hold before something is read off under it
MODEL, CORE = "model.", "core."
SIDES = (MODEL, CORE)
BENCH = "bench."  # what the bench remembers of model and bus
ON_ITS_WAY = "bench.inside."  # an input of a deep core on its way to the block
HOST = "host."  # an access under way


@dataclass(frozen=True)
class Candidate:
    """Something that held in all states seen: in words, and as a condition on the state."""

    said: str
    holds: z3.BoolRef


@dataclass(frozen=True)
class Atom:
    """A condition that can be seen in a state, and where it held."""

    said: str
    truth: z3.BoolRef
    seen: Array
    of: str  # the register


class Seen:
    """The states, and what is looked at in them."""

    def __init__(self, system: System, samples: Values) -> None:
        order = sorted(system.state, key=_rank)
        self._state = {name: system.state[name] for name in order}
        self._samples = samples
        self._size = len(next(iter(samples.values()))) if samples else 0
        self._bits = [atom for name in order for atom in self._bits_of(name)]
        self._flags = [
            a
            for a in self._bits
            if self._state[a.of].size() == 1 and a.of.startswith((*SIDES, BENCH))
        ]
        watched = [name for name in order if name.startswith((*SIDES, BENCH, HOST))]
        self._values = [a for name in watched for a in self._values_of(name)]
        self._others = [name for name in watched if not name.startswith(CORE)]
        self._sides = [name for name in order if name.startswith(SIDES)]

    def _bits_of(self, name: str) -> Iterator[Atom]:
        held = self._state[name]
        for n in range(held.size()):
            said = name if held.size() == 1 else f"{name}[{n}]"
            seen = (self._samples[name] >> self._number(n, name)) & self._number(1, name) != 0
            yield Atom(said, z3.Extract(n, n, held) == 1, np.asarray(seen, bool), name)

    def _number(self, value: int, name: str) -> object:
        return value if self._samples[name].dtype == object else np.uint64(value)

    def _values_of(self, name: str, narrow: int = NARROW) -> Iterator[Atom]:
        """Yield each value a narrow register has taken; of a wide one whether it is 0."""
        held, seen = self._state[name], self._samples[name]
        if held.size() == 1:
            return
        most = SPLIT if name.startswith((HOST, BENCH)) else narrow
        values = np.unique(seen).tolist() if held.size() <= most else [0]
        for value in values:
            yield Atom(f"{name} == {value}", held == value, np.asarray(seen == value, bool), name)

    def _split_bits(self) -> Iterator[Atom]:
        """Yield single bits, and their opposites, of registers that are no flags and not wide."""
        for atom in self._bits:
            if NARROW < self._state[atom.of].size() <= SPLIT and atom.of.startswith(SIDES):
                yield from (atom, opposite(atom))

    def _both_ways(self) -> list[Atom]:
        """Return every flag, and its opposite."""
        return [*self._flags, *(opposite(flag) for flag in self._flags)]


def distinct(atoms: Iterable[Atom]) -> list[Atom]:
    """Return atoms that hold in different states, the first of each kind."""
    found: dict[bytes, Atom] = {}
    for atom in atoms:
        found.setdefault(np.packbits(atom.seen).tobytes(), atom)
    return list(found.values())


def _rank(name: str) -> tuple[bool, bool, str]:
    return not name.startswith(MODEL), not name.startswith(CORE), name


def side(atom: Atom) -> str:
    """Return whether a condition is of the core; what the bench remembers counts as the model."""
    return side_of(atom.of)


def side_of(name: str) -> str:
    """Return whether a register is the core's, or counts as the model's."""
    return CORE if name.startswith(CORE) else MODEL


def opposite(atom: Atom) -> Atom:
    """Return the opposite of a condition."""
    return Atom(f"not {atom.said}", z3.Not(atom.truth), ~atom.seen, atom.of)


def given(guard: Atom | None, said: str, holds: z3.BoolRef) -> Candidate:
    """Return a candidate that is to hold where a condition does."""
    if guard is None:
        return Candidate(said, holds)
    return Candidate(f"{said}, if {guard.said}", z3.Implies(guard.truth, holds))
