"""Search from the start, edge by edge: the shortest way to break a claim, or none up to a depth."""

from __future__ import annotations

from collections.abc import Callable

import z3

from refmodel.prove.induction import Clock, OutOfTimeError
from refmodel.prove.system import System
from refmodel.prove.walk import WalkTrace

Say = Callable[[str], None]


class Unrolled:
    """A system over the first edges from its start, for a solver; edge after edge is added."""

    def __init__(self, system: System) -> None:
        self.system = system
        self.solver = z3.SolverFor("QF_BV")
        self.depth = 0
        self._state = [self._at(system.state, 0)]
        self._inputs: list[dict[str, z3.BitVecRef]] = []
        first = [(system.state[name], held) for name, held in self._state[0].items()]
        for name, value in system.start.items():
            self.solver.add(self._state[0][name] == z3.substitute(value, *first))

    def _at(self, variables: dict[str, z3.BitVecRef], edge: int) -> dict[str, z3.BitVecRef]:
        return {n: z3.BitVec(f"{n}@{edge}", v.size()) for n, v in variables.items()}

    def advance(self) -> z3.BoolRef:
        """Add an edge; return that every claim holds on it."""
        system, edge = self.system, self.depth
        inputs, after = self._at(system.inputs, edge), self._at(system.state, edge + 1)
        pairs = [(system.state[n], v) for n, v in self._state[edge].items()]
        pairs += [(system.inputs[n], v) for n, v in inputs.items()]

        def now(expression: z3.ExprRef) -> z3.ExprRef:
            return z3.substitute(expression, *pairs)

        self.solver.add(now(system.assumption))
        for name, value in system.after.items():
            self.solver.add(after[name] == now(value))
        self._inputs.append(inputs)
        self._state.append(after)
        self.depth += 1
        return now(z3.And(list(system.claims.values())))

    def trace(self, model: z3.ModelRef) -> WalkTrace:
        """Return the run that a solver has found, without what it broke."""

        def read(variables: dict[str, z3.BitVecRef]) -> dict[str, int]:
            return {n: model.eval(v, model_completion=True).as_long() for n, v in variables.items()}

        return WalkTrace(read(self._state[0]), [read(inputs) for inputs in self._inputs], [])


def search(
    system: System, depth: int, clock: Clock, known: int = 0
) -> tuple[WalkTrace | None, int]:
    """Return the shortest run that breaks a claim within `depth` edges, and how far it looked.

    On the first `known` edges no claim can be broken, it is known. When the time is over it
    returns how many edges were gone through without one.
    """
    unrolled = Unrolled(system)
    try:
        for edge in range(depth):
            holds = unrolled.advance()
            if edge >= known:
                unrolled.solver.push()
                unrolled.solver.add(z3.Not(holds))
                if clock.check(unrolled.solver) == z3.sat:
                    return unrolled.trace(unrolled.solver.model()), edge + 1
                unrolled.solver.pop()
            unrolled.solver.add(holds)
    except OutOfTimeError:
        return None, unrolled.depth - 1
    return None, depth
