"""Puts a system to the model checker that comes with yosys."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from refmodel.ground.errors import CannotRun
from refmodel.prove.induction import Clock, OutOfTimeError
from refmodel.prove.seen import Candidate
from refmodel.prove.system import System
from refmodel.prove.walk import Walker, WalkTrace
from testbenches.hdl.aiger import Aiger
from testbenches.hdl.model_checker import ModelChecker, find_checker
from testbenches.hdl.parting import Answer, Parting, pairs_of
from testbenches.prove.gates import graph_of
from testbenches.prove.product import CORE, OTHER

PART = 0.5  # of the time left, for machines that share registers


class Checked(NamedTuple):
    """What the checker says: nothing ever fails; or the run in which it does; or neither."""

    never: bool = False
    trace: WalkTrace | None = None


def check(
    system: System, walker: Walker, seconds: float, kept: Sequence[Candidate] = ()
) -> Checked:
    """Ask whether a claim can ever fail, for some seconds; what was `kept` is known to hold.

    Registers of one name on both sides are first taken to be one, as far as they do not part.
    Without the checker, and for what no gate does, nothing is known.
    """
    try:
        graph = graph_of(system, [candidate.holds for candidate in kept])
        program = find_checker()
    except (CannotRun, NotImplementedError):
        return Checked()
    with tempfile.TemporaryDirectory(prefix="cellstep-") as folder:
        answer = _asked(ModelChecker(program, Path(folder)), graph.aiger, seconds)
    if answer.run is None:
        return Checked(answer.never)
    return Checked(trace=walker.replay(*graph.run(answer.run)))


def _asked(checker: ModelChecker, graph: Aiger, seconds: float) -> Answer:
    """Ask of two machines as far as they are alike, then of both whole."""
    clock = Clock(seconds)
    shared = Clock(seconds * PART)

    def ask(asked: Aiger, output: int) -> Answer:
        return checker.ask("shared", asked, output, max(1, round(shared.left)))

    try:
        if pairs := pairs_of(graph.held, CORE, OTHER):
            answer = Parting(graph, pairs, ask).ever(0)
            if answer != Answer():
                return answer
    except OutOfTimeError:
        pass
    return checker.ask("whole", graph, 0, max(1, round(clock.seconds - clock.passed)))
