"""Induction: what holds at the start, and after each edge before which it held, holds for ever."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import z3

from refmodel.prove.arrays import Computer
from refmodel.prove.seen import Candidate
from refmodel.prove.system import System
from refmodel.prove.walk import Draw, Walker

WANDERERS, WANDERED = 64, 24  # runs from a solver's state, and the edges of each
STEPS_A_SECOND = 8_000_000  # about what a solver does in one, with all around it
LOOKS = (0, 1, 2, 4, 8, 15, 23)  # edges behind which a run is looked at


class OutOfTimeError(Exception):
    """The time for a proof is over."""


@dataclass
class Clock:
    """How much time a proof may take, in seconds of elapsed time."""

    seconds: float
    _begin: float = field(init=False)

    def __post_init__(self) -> None:
        self._begin = self._now()

    def _now(self) -> float:
        return time.monotonic()

    @property
    def left(self) -> float:
        """Seconds left; raises OutOfTimeError when there are none."""
        left = self.seconds - self.passed
        if left <= 0:
            raise OutOfTimeError
        return left

    @property
    def passed(self) -> float:
        """Seconds since the proof began."""
        return self._now() - self._begin

    def check(self, solver: z3.Solver, *assumed: z3.BoolRef) -> z3.CheckSatResult:
        """Return what a solver finds within the time; raise OutOfTimeError if it needs more."""
        while True:
            solver.set("timeout", max(1, int(1000 * self.left)))
            found = solver.check(*assumed)
            if found != z3.unknown:
                return found


class BusyClock(Clock):
    """How much work this process may do, in seconds of a processor."""

    def _now(self) -> float:
        return time.process_time()


@dataclass
class Work(Clock):
    """How much work solvers may do, in about seconds, and not beyond another clock's time.

    It is counted in the solver's own steps: what is found does not depend on the machine, unless
    the other clock ends it.
    """

    within: Clock

    def _now(self) -> float:
        steps: int = z3.Solver().statistics().get_key_value("rlimit count")
        return steps / STEPS_A_SECOND

    def check(self, solver: z3.Solver, *assumed: z3.BoolRef) -> z3.CheckSatResult:
        """Return what a solver finds within the work; raise OutOfTimeError if it needs more."""
        solver.set("rlimit", max(1, int(STEPS_A_SECOND * self.left)))
        solver.set("timeout", max(1, int(1000 * self.within.left)))
        found = solver.check(*assumed)
        if found == z3.unknown:
            raise OutOfTimeError
        return found


class InductionStep:
    """One edge of a system, for a solver: before it, and after."""

    def __init__(self, system: System) -> None:
        self.system = system
        self._pairs = [(system.state[name], value) for name, value in system.after.items()]

    def after(self, holds: z3.BoolRef) -> z3.BoolRef:
        """Return a condition on the state, of the state after the edge."""
        return z3.substitute(holds, *self._pairs)


@dataclass
class Kept:
    """The candidates that are inductive together, and how many rounds it took to find them."""

    candidates: list[Candidate]
    rounds: int


def keep(
    system: System, candidates: Sequence[Candidate], clock: Clock, draw: Draw | None = None
) -> Kept:
    """Return the largest set of candidates that holds at the start and follows from itself.

    `draw` makes inputs: with it, runs from each state the solver finds drop more at a time.
    """
    kept = _at_start(system, list(candidates), clock)
    sieve = _Sieve(system, kept)
    wanderer = _Wanderer(system, kept, draw)
    rounds = 0
    while wanderer.stays.any():
        rounds += 1
        values = sieve.broken(wanderer.stays, clock)
        if values is None:
            break
        wanderer.drop(values)
    return Kept(wanderer.left, rounds)


class _Sieve:
    """Asks one solver again and again, so that it need not learn the machine anew each time."""

    def __init__(self, system: System, candidates: Sequence[Candidate]) -> None:
        self._system = system
        self._solver = z3.SolverFor("QF_BV")
        self._solver.add(system.assumption)
        step = InductionStep(system)
        self._counts = [z3.Bool(f"counts {n}") for n in range(len(candidates))]
        breaks = []
        for counts, candidate in zip(self._counts, candidates, strict=True):
            self._solver.add(z3.Implies(counts, candidate.holds))
            breaks.append(z3.And(counts, z3.Not(step.after(candidate.holds))))
        self._solver.add(z3.Or(breaks))

    def broken(self, stays: np.ndarray, clock: Clock) -> Mapping[str, np.ndarray] | None:
        """Return an edge before which those that stay hold, and one of them not behind it."""
        pairs = zip(self._counts, stays, strict=True)
        chosen = [counts if stay else z3.Not(counts) for counts, stay in pairs]
        if clock.check(self._solver, *chosen) == z3.unsat:
            return None
        return _values(self._system, self._solver.model())


class _Wanderer:
    """Goes on from a state that all candidates left allow, and drops what does not hold behind it.

    That is right at every edge: what is left held before it.
    """

    def __init__(self, system: System, candidates: list[Candidate], draw: Draw | None) -> None:
        self.candidates = candidates
        self.stays = np.ones(len(candidates), bool)
        self._walker, self._draw = Walker(system), draw
        self._system = system
        self._look()

    @property
    def left(self) -> list[Candidate]:
        """The candidates not dropped."""
        return [c for c, stays in zip(self.candidates, self.stays, strict=True) if stays]

    def _look(self) -> None:
        """Look at those only that are left."""
        self._looked_at = np.flatnonzero(self.stays)
        self._computer = Computer([c.holds for c in self.left])

    def drop(self, values: Mapping[str, np.ndarray]) -> None:
        """Drop what fails behind the edge of a solver's model, and on runs from there."""
        runs = WANDERERS if self._draw is not None else 1
        wide = {n: np.repeat(v, runs).astype(self._walker.dtype) for n, v in values.items()}
        state, _, _ = self._walker.step(wide)
        self._check(state, np.ones(runs, bool))
        if self._draw is None:
            return
        before = {n: wide[n] for n in self._system.state}
        for n in range(WANDERED):
            state = before if n == 0 else state
            after, _, allowed = self._walker.step(state | self._draw(state))
            if n in LOOKS:
                self._check(after, allowed)
            state = {n: np.where(allowed, after[n], state[n]) for n in after}

    def _check(self, state: Mapping[str, np.ndarray], allowed: np.ndarray) -> None:
        if 2 * np.count_nonzero(self.stays) < len(self._looked_at):
            self._look()
        for n, holds in zip(self._looked_at, self._computer.run(state), strict=True):
            if not (holds | ~allowed).all():
                self.stays[n] = False


def _values(system: System, model: z3.ModelRef) -> Mapping[str, np.ndarray]:
    """Return the values of all variables in a model, each as an array of one."""
    variables = {**system.state, **system.inputs}
    return {
        name: np.array([model.eval(v, model_completion=True).as_long()], np.uint64)
        for name, v in variables.items()
    }


def _at_start(system: System, kept: list[Candidate], clock: Clock) -> list[Candidate]:
    """Return the candidates that hold at the start."""
    begins = [system.state[name] == value for name, value in system.start.items()]
    while kept:
        solver = z3.SolverFor("QF_BV")
        solver.add(*begins, z3.Not(z3.And([c.holds for c in kept])))
        if clock.check(solver) == z3.unsat:
            break
        model = solver.model()
        kept = [c for c in kept if z3.is_true(model.eval(c.holds, model_completion=True))]
    return kept


def unproved(system: System, kept: Sequence[Candidate], clock: Clock) -> dict[str, z3.ModelRef]:
    """Return the claims that do not follow from what is kept, each with a state where it fails."""
    found: dict[str, z3.ModelRef] = {}
    solver = z3.SolverFor("QF_BV")
    solver.add(system.assumption, *(c.holds for c in kept))
    for name, claim in (system.claims | system.ranges).items():
        solver.push()
        solver.add(z3.Not(claim))
        if clock.check(solver) == z3.sat:
            found[name] = solver.model()
        solver.pop()
    return found
