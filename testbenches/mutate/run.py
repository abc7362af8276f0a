"""One core's mutants from planting to score."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from functools import partial
from pathlib import Path

from refmodel.ground.errors import CannotRun
from refmodel.ground.scratch import scratch
from refmodel.mutate.score import SURVIVED, UNKNOWN, Fate, Score
from testbenches.binding.depth import refuse_words
from testbenches.binding.load import load_binding
from testbenches.mutate.equal import Solver
from testbenches.mutate.mutator import Mutator, Planting
from testbenches.mutate.refute import Refuter
from testbenches.mutate.twin import Twin

EARLY, FEW = 2, 3  # seconds of a processor, and questions, where the answer may not be needed
Say = Callable[[str], None]


def run_mutants(path: Path, planting: Planting, say: Say, solve: bool = True) -> Score:
    """Plant changes in a binding's core, play the suites into each, and judge the survivors.

    Raises UserError for a bad binding and for a core that does not agree with the model as it is,
    CannotRun for one that yosys or the simulator does not take.
    """
    with scratch("cellstep-") as work:
        binding = load_binding(path)
        refuse_words(binding, "mutate")
        mutator = Mutator(binding, str(path), planting, work, say)
        score = mutator.run(partial(_asked_early, mutator, work / "early", say) if solve else None)
        if solve and score.count(SURVIVED):
            score.unsolved = _solved(mutator, score, work / "solver", say)
        if not solve:
            score.unsolved = "--no-solver was given"
            for fate in score.of(SURVIVED):
                fate.fate = UNKNOWN  # that a run can show it has to be shown
    return score


def _asked_early(mutator: Mutator, folder: Path, say: Say, doubted: list[Fate]) -> None:
    """Ask the solver for a short time about mutants that have not been played to the end."""
    lockstep = mutator.lockstep
    if doubted:
        twin = Twin(lockstep.binding, lockstep.ports, mutator.planted.width)
        with suppress(CannotRun):  # that is said of those that survive
            Solver(twin, folder, say, EARLY, FEW, mutator.stopping.is_set).judge(doubted)


def _solved(mutator: Mutator, score: Score, folder: Path, say: Say) -> str:
    """Ask the solver about the survivors; return why it was not asked, empty if it was."""
    lockstep = mutator.lockstep
    twin = Twin(lockstep.binding, lockstep.ports, mutator.planted.width)
    unsolved = ""
    try:
        Solver(twin, folder, say).judge(score.fates)
    except CannotRun as error:
        unsolved = str(error)
    width, simulator = mutator.planted.width, score.simulator
    Refuter(lockstep, width, simulator, folder, say).judge(score.fates)
    return unsolved
