"""A second opinion: what one solver has found to be impossible is put to another one."""

from __future__ import annotations

from collections.abc import Sequence

import z3

from refmodel.prove.induction import InductionStep
from refmodel.prove.seen import Candidate
from refmodel.prove.system import System

SECOND = "bitwuzla"


def questions(system: System, kept: Sequence[Candidate]) -> list[str]:
    """Return the questions of a proof as SMT-LIB; the proof holds when all are unsatisfiable.

    The first asks for a start on which what is kept does not hold, the second for an edge that
    breaks it, or a claim.
    """
    step = InductionStep(system)
    holds = [c.holds for c in kept]
    begins = [system.state[name] == value for name, value in system.start.items()]
    wanted = [step.after(h) for h in holds]
    claims = [*wanted, *system.claims.values(), *system.ranges.values()]
    return [
        _text([*begins, z3.Not(z3.And(holds))]),
        _text([system.assumption, *holds, z3.Not(z3.And(claims))]),
    ]


def _text(conditions: Sequence[z3.BoolRef]) -> str:
    """Return conditions as SMT-LIB, each simplified: no `and` of one thing is left."""
    solver = z3.Solver()
    solver.add(*map(z3.simplify, conditions))
    return f"(set-logic QF_BV)\n{solver.to_smt2()}"


def agrees(texts: Sequence[str], seconds: float) -> bool | None:
    """Return whether the second solver finds every question unsatisfiable; None: out of time.

    Raises ImportError when there is no second solver.
    """
    import bitwuzla

    for text in texts:
        options = bitwuzla.Options()
        options.set(bitwuzla.Option.TIME_LIMIT_PER, int(1000 * seconds))
        options.set(bitwuzla.Option.PRODUCE_MODELS, False)
        terms = bitwuzla.TermManager()
        parser = bitwuzla.Parser(terms, options)
        parser.parse(text.replace("(check-sat)", ""), True, False)
        found = parser.bitwuzla().check_sat()
        if found == bitwuzla.Result.SAT:
            return False
        if found != bitwuzla.Result.UNSAT:
            return None
    return True
