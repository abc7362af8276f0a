"""Many runs of a machine side by side from its start, on drawn inputs: what it does, and shows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
import z3

from refmodel.prove.arrays import Array, Computer
from refmodel.prove.system import System

Values = dict[str, Array]
Inputs = list[dict[str, int]]  # of each edge of one run
Draw = Callable[[Values], Values]  # the state before an edge; returns the inputs
Feed = Callable[[int, Array], Values]  # an edge, and which runs; returns their inputs on it
KEPT_EACH_EDGE = 16  # states kept of each edge, of different runs
KEPT_BY_COUNT = 8  # states kept besides, by what a count is in them
NARROW = 3  # bits of a register that tells states apart
WIDEST_COUNT = 5  # bits of a register of which every value should be seen often


@dataclass
class WalkTrace:
    """One run: the state it begins with, the inputs of each edge, and what the last breaks."""

    start: dict[str, int]
    inputs: Inputs
    broken: list[str]

    def __len__(self) -> int:
        return len(self.inputs)


@dataclass
class Walked:
    """What was seen: states of many runs, by name, and the shortest run that broke a claim.

    `counting` are more of them, chosen so that each value of a count is among them often.
    """

    samples: Values
    counting: Values
    edges: int
    broken: WalkTrace | None = None
    reached: dict[str, int] = field(default_factory=dict)


class Walker:
    """Runs a system on numbers. `watched` are conditions on an edge that are counted."""

    def __init__(self, system: System, watched: Mapping[str, z3.BoolRef] | None = None) -> None:
        self.system = system
        self._watched = dict(watched or {})
        self._met = dict.fromkeys(self._watched, 0)
        self._names = list(system.state)
        wanted = [system.after[n] for n in self._names]
        claims, watches = system.claims.values(), self._watched.values()
        self._computer = Computer([*wanted, *claims, *watches, system.assumption])
        self.dtype = self._computer.dtype

    def step(self, values: Mapping[str, Array]) -> tuple[Values, Values, Array]:
        """Return the state after an edge, which claims hold on it, and whether it may be."""
        found = self._computer.run(values)
        n = len(self._names)
        after = {
            name: np.asarray(value, self.dtype)
            for name, value in zip(self._names, found[:n], strict=True)
        }
        claims = len(self.system.claims)
        holds = dict(zip(self.system.claims, found[n:], strict=False))
        for name, met in zip(self._watched, found[n + claims :], strict=False):
            self._met[name] += int(np.count_nonzero(met))
        return after, holds, found[-1]

    def begin(self, runs: int, rng: np.random.Generator) -> Values:
        """Return a first state for each run, drawn where nothing is known of it."""
        system = self.system
        begins: Values = {}
        alike: dict[str, str] = {}
        for name, register in system.state.items():
            known = system.start.get(name)
            if known is None:
                begins[name] = self._drawn(rng, register.size(), runs)
            elif z3.is_const(known) and not z3.is_bv_value(known):
                alike[name] = known.decl().name()
            else:
                begins[name] = np.full(runs, z3.simplify(known).as_long(), self.dtype)
        return begins | {name: begins[other] for name, other in alike.items()}

    def _drawn(self, rng: np.random.Generator, width: int, runs: int) -> Array:
        drawn = rng.integers(0, 1 << min(width, 63), runs, dtype=np.int64)
        return drawn.astype(self.dtype)

    def walk(
        self,
        draw: Draw,
        runs: int,
        edges: int,
        seed: int = 1,
        stop: Callable[[], bool] = lambda: False,
    ) -> Walked:
        """Run so many edges, or up to the first that breaks a claim, or behind which to stop."""
        rng = np.random.default_rng(seed)
        state = begin = self.begin(runs, rng)
        history: list[Values] = []
        kept: list[Values] = []
        counting: list[Values] = []
        rare, counts = _Rare(self.system, rng), _Counts(self.system, seed)
        for edge in range(edges):
            inputs = draw(state)
            some = rare.choose(state)
            kept.append({n: v[some] for n, v in state.items()})
            some = counts.choose(state)
            counting.append({n: v[some] for n, v in state.items()})
            after, holds, allowed = self.step(state | inputs)
            assert allowed.all(), "the drawn inputs keep what is assumed"
            history.append(inputs)
            good = np.logical_and.reduce(list(holds.values()))
            if not good.all():
                run = int(np.flatnonzero(~good)[0])
                broken = [name for name, held in holds.items() if not held[run]]
                trace = WalkTrace(_of(begin, run), [_of(i, run) for i in history], broken)
                return Walked(joined(kept), joined(counting), edge + 1, trace, self._met)
            state = after
            if stop():
                edges = edge + 1
                break
        return Walked(joined(kept), joined(counting), edges, None, self._met)

    def replay(self, start: Mapping[str, int], inputs: Inputs) -> WalkTrace | None:
        """Run once on given inputs; return the run up to what it broke, None if nothing."""
        state = {n: np.full(1, v, self.dtype) for n, v in start.items()}
        for edge, given in enumerate(inputs, 1):
            arrays = {n: np.full(1, given[n], self.dtype) for n in self.system.inputs}
            state, holds, allowed = self.step(state | arrays)
            if not allowed[0]:
                return None
            broken = [name for name, held in holds.items() if not held[0]]
            if broken:
                return WalkTrace(dict(start), inputs[:edge], broken)
        return None

    def ends(self, start: Mapping[str, int], lengths: Array, feed: Feed) -> Array:
        """Run on several inputs side by side; return behind how many edges each breaks a claim.

        It is 0 for a run that breaks none on its first `lengths` edges, or may not be.
        """
        ends = np.zeros(len(lengths), int)
        left = np.flatnonzero(lengths > 0)
        state = {n: np.full(len(left), v, self.dtype) for n, v in start.items()}
        edge = 0
        while len(left):
            state, holds, allowed = self.step(state | feed(edge, left))
            held = np.logical_and.reduce(list(holds.values()))
            edge += 1
            ends[left[allowed & ~held]] = edge
            on = allowed & held & (lengths[left] > edge)
            left = left[on]
            state = {name: value[on] for name, value in state.items()}
        return ends


class _Rare:
    """Chooses states to keep: those of which the fewest alike were kept before.

    States are alike when all their narrow registers hold the same.
    """

    def __init__(self, system: System, rng: np.random.Generator) -> None:
        self._names = [n for n, held in system.state.items() if held.size() <= NARROW]
        self._weights = rng.integers(1, 1 << 62, len(self._names))
        self._kept: Counter[int] = Counter()
        self._rng = rng

    def choose(self, state: Values) -> Array:
        """Return which runs' states to keep."""
        narrow = zip(self._names, self._weights, strict=True)
        alike = np.zeros(len(next(iter(state.values()))), np.int64)
        with np.errstate(over="ignore"):
            for name, weight in narrow:
                alike += state[name].astype(np.int64) * weight
        some = _fewest(alike, self._kept, self._rng, KEPT_EACH_EDGE)
        self._kept.update(alike[some].tolist())
        return some


class _Counts:
    """Chooses states to keep by the value of a count, another one on each edge."""

    def __init__(self, system: System, seed: int) -> None:
        sizes = {name: held.size() for name, held in system.state.items()}
        self._names = [n for n, size in sizes.items() if NARROW < size <= WIDEST_COUNT]
        self._kept: dict[str, Counter[int]] = {name: Counter() for name in self._names}
        self._rng = np.random.default_rng(seed)
        self._edge = 0

    def choose(self, state: Values) -> Array:
        """Return which runs' states to keep: those whose value was kept least often."""
        if not self._names:
            return np.zeros(0, int)
        name = self._names[self._edge % len(self._names)]
        self._edge += 1
        values = state[name].astype(np.int64)
        some = _fewest(values, self._kept[name], self._rng, KEPT_BY_COUNT)
        self._kept[name].update(values[some].tolist())
        return some


def _fewest(keys: Array, kept: Counter[int], rng: np.random.Generator, most: int) -> Array:
    """Return the runs whose keys were kept least often, in no order of the runs."""
    seen = np.array([kept[key] for key in keys.tolist()])
    order = rng.permutation(len(seen))
    return order[np.argsort(seen[order], kind="stable")][:most]


def _of(values: Mapping[str, Array], run: int) -> dict[str, int]:
    return {name: int(value[run]) for name, value in values.items()}


def joined(kept: list[Values]) -> Values:
    """Return states one behind the other."""
    return {name: np.concatenate([k[name] for k in kept]) for name in kept[0]} if kept else {}
