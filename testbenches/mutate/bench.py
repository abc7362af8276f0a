"""One simulator with a core and its mutants: plays scenarios, and says which one kills."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from refmodel.ground.errors import UserError
from refmodel.mutate.score import KILLED, Fate, Mutant
from refmodel.report.result import AGREE, Outcome
from testbenches.job import Asked, RunDone
from testbenches.lockstep import Lockstep
from testbenches.on_demand import OnDemand, SilentError
from testbenches.prepared import Prepared

PATIENCE = 20.0  # seconds for runs beside their cycles
SLOWEST = 50_000.0  # cycles a second


class Judged(NamedTuple):
    """A mutant's fate, and how many cycles it took."""

    fate: Fate
    cycles: int


class MutantBench:
    """A simulator of its own, and the folder of its records; a context.

    Every scenario is played without a mutant first, and must agree: a run of a mutant that leaves
    the same records agrees, too, and only one that does not is held against the model.
    """

    def __init__(
        self, lockstep: Lockstep, simulator: str, number: int, folder: Path, ready: list[Prepared]
    ) -> None:
        self._lockstep = lockstep
        self._simulator = simulator
        self._folder = folder
        self._ready = {p.index: p for p in ready}
        self._runs = {run.index: run for run in lockstep.runs(ready)}
        self._on_demand = OnDemand(lockstep.session(simulator, number, folder))

    def __enter__(self) -> MutantBench:
        self._lockstep.lay(list(self._ready.values()), self._folder)
        self._on_demand.__enter__()
        try:
            self._play_as_it_was()
        except BaseException:
            self.close()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the simulator."""
        self._on_demand.close()

    def _play_as_it_was(self) -> None:
        """Play every scenario without a mutant; raise UserError unless it agrees."""
        for index in list(self._runs):
            (done,) = self._play([index], 0)
            outcome = self._outcome(done)
            if outcome.verdict == "skipped":
                del self._runs[index]
            elif outcome.verdict != AGREE:
                raise UserError(
                    f"{outcome.scenario}: {outcome.verdict} without any change planted; of a core"
                    " that does not agree with the model there is no score"
                )

    def judge(self, mutant: Mutant, order: Sequence[int]) -> Judged:
        """Play scenarios in an order, by their numbers, until one kills the mutant."""
        left = [index for index in order if index in self._runs]
        cycles = 0
        while left:
            try:
                played = self._play(left, mutant.number)
                cycles += sum(done.cycles for done in played)
                last = self._outcome(played[-1])
                if last.verdict == AGREE and self._was_ended(played[-1]):
                    (whole,) = self._play([played[-1].index], mutant.number, to_end=True)
                    cycles += whole.cycles
                    last = self._outcome(whole)
            except SilentError as error:
                return Judged(Fate(mutant, KILLED, why=str(error)), cycles)
            if last.verdict != AGREE:
                return Judged(_killed(mutant, last), cycles)
            left = left[len(played) :]
        return Judged(Fate(mutant), cycles)

    def _was_ended(self, done: RunDone) -> bool:
        """Return whether a run was not played to its end: its records part from the core's own.

        They may where nothing is compared, and what is compared may part later.
        """
        return done.cycles < self._ready[done.index].disk.cycles

    def _play(
        self, indexes: Sequence[int], mutant: int | None, to_end: bool = False
    ) -> list[RunDone]:
        cycles = sum(self._ready[index].disk.cycles for index in indexes)
        edges = self._lockstep.binding.clock.edges_a_cycle
        asked = Asked([self._runs[index] for index in indexes], mutant, to_end)
        return self._on_demand.play(asked, PATIENCE + cycles * edges / SLOWEST)

    def _outcome(self, done: RunDone) -> Outcome:
        ready = self._ready[done.index]
        return self._lockstep.outcome(ready, self._simulator, done, self._folder)


def _killed(mutant: Mutant, outcome: Outcome) -> Fate:
    """Return the fate of a mutant that a scenario's outcome kills."""
    finding = outcome.finding
    if finding is None:
        return Fate(mutant, KILLED, outcome.scenario, why=outcome.note)
    mismatch = finding.mismatch
    why = f"{mismatch.field} in cycle {mismatch.cycle}"
    return Fate(mutant, KILLED, outcome.scenario, finding.cause.clause, why)
