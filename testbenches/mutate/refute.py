"""Finds for each survivor a run that kills it, or proves that there is none."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import partial
from itertools import count
from pathlib import Path
from typing import NamedTuple

from refmodel.ground.errors import CannotRun, UserError
from refmodel.ground.numbers import counted
from refmodel.ground.workers import run_all
from refmodel.mutate.score import KILLED, SURVIVED, UNKNOWN, UNSEEN, Fate, Mutant
from refmodel.profile import Profile
from refmodel.prove.verdict import PROVED, REFUTED
from refmodel.world.load import load_scenario
from testbenches.binding.ports import CorePorts
from testbenches.binding.schema import Binding
from testbenches.harness import generate
from testbenches.hdl.mutants import CHOICE
from testbenches.hdl.port_forms import Port
from testbenches.lockstep import Lockstep
from testbenches.mutate.bench import MutantBench
from testbenches.prove.attempt import Effort
from testbenches.prove.product import Subject
from testbenches.prove.prover import prove_subjects
from testbenches.prove.replay import write_refutation

SECONDS = 60.0  # for one proof
UNSHOWN = (
    "a proof tells it apart, and the simulator does not; a change may let through what is undefined"
    " (x), which a proof takes as any value and a simulator as one"
)
Say = Callable[[str], None]


class Refuter:
    """Holds survivors against the core they were made from, both before a solver.

    `lockstep` is that of the core with the mutants in it; `width` that of the choice among them.
    """

    def __init__(
        self, lockstep: Lockstep, width: int, simulator: str, folder: Path, say: Say
    ) -> None:
        self._lockstep = lockstep
        self._simulator, self._folder, self._say = simulator, folder, say
        self._question = Question(lockstep.binding, lockstep.profile, lockstep.ports, width, folder)

    def judge(self, fates: Iterable[Fate]) -> None:
        """Say of each survivor which run kills it, or that none can; the rest is unknown.

        Several processes ask, one a processor.
        """
        asked = [fate for fate in fates if fate.fate in (SURVIVED, UNKNOWN)]
        if not asked:
            return
        counted = count(1)

        def done() -> None:
            self._say(f"proof: {next(counted)} of {len(asked)} survivors asked about")

        answers = run_all([partial(self._question.ask, fate.mutant) for fate in asked], done=done)
        for fate, answer in zip(asked, answers, strict=True):
            fate.fate, fate.why = answer.fate, answer.why
        found = [(fate, answer.path) for fate, answer in zip(asked, answers, strict=True)]
        if kills := [(fate, path) for fate, path in found if path is not None]:
            self._play(kills)

    def _play(self, found: list[tuple[Fate, Path]]) -> None:
        """Play each run into its mutant in the simulator: what counts is what that shows."""
        scenarios = [(path, load_scenario(path)) for _, path in found]
        ready = self._lockstep.prepare(scenarios, self._say)
        number = 0
        for (fate, path), one in zip(found, ready, strict=True):
            try:
                with MutantBench(
                    self._lockstep, self._simulator, number, self._folder / "runs", [one]
                ) as bench:
                    judged = bench.judge(fate.mutant, [one.index]).fate
            except UserError as error:
                fate.fate, fate.why = UNKNOWN, str(error)
                continue
            if judged.fate != KILLED:
                fate.fate, fate.why = UNKNOWN, UNSHOWN
                continue
            fate.fate, fate.clause, fate.why = SURVIVED, judged.clause, f"{path.name}: {judged.why}"
            fate.killer = path.read_text(encoding="utf-8")


class Told(NamedTuple):
    """What a proof says of a mutant, and where the run lies that tells it from the core if any."""

    fate: str
    why: str
    path: Path | None = None


@dataclass(frozen=True)
class Question:
    """What a worker needs to hold a mutant against its core."""

    binding: Binding
    profile: Profile
    ports: CorePorts
    width: int
    folder: Path

    def ask(self, mutant: Mutant) -> Told:
        """Say what a proof makes of a mutant; write the scenario that tells it from the core.

        A core with an acknowledge may keep the host waiting for longer or for less long, and agree.
        So its mutant is held against the model, as a run holds it.
        """
        effort = Effort(seconds=SECONDS, second=False)
        bus = self.binding.bus
        waits = bus is not None and bus.acknowledge is not None
        other = None if waits else self._subject(0)
        try:
            proof = prove_subjects(
                self._subject(mutant.number), other, "the mutant equals the core", effort
            )
        except (CannotRun, UserError) as error:
            return Told(UNKNOWN, str(error))
        verdict = proof.verdict
        if verdict.verdict == REFUTED:
            path = self.folder / f"kills-{mutant.number}.yaml"
            write_refutation(proof, path)
            return Told(SURVIVED, "", path)
        if verdict.verdict == PROVED:
            why = "nothing that is compared can ever differ with accesses as the bench makes"
            return Told(UNSEEN, why)
        return Told(
            UNKNOWN,
            f"no difference within {counted(verdict.depth, 'cycle')} of reset; {verdict.why}",
        )

    def _subject(self, number: int) -> Subject:
        """Return the core with one of its mutants chosen; 0 is the core as it was."""
        tied = self.binding.model_copy(update={"tie": {**self.binding.tie, CHOICE: number}})
        chosen = {**self.ports.ports, CHOICE: Port(CHOICE, "input", self.width)}
        ports = replace(self.ports, ports=chosen)
        return Subject(tied, self.profile, ports, generate(tied, ports))
