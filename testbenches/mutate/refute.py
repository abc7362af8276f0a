"""Finds for each survivor a run that kills it, or proves that there is none."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

from refmodel.ground.errors import CannotRun, UserError
from refmodel.mutate.score import KILLED, SURVIVED, UNKNOWN, UNSEEN, Fate, Mutant
from refmodel.prove.verdict import PROVED, REFUTED
from refmodel.world.load import load_scenario
from testbenches.harness import generate
from testbenches.hdl.elaborate import Port
from testbenches.hdl.mutants import CHOICE
from testbenches.lockstep import Lockstep
from testbenches.mutate.bench import MutantBench
from testbenches.prove.attempt import Effort
from testbenches.prove.product import Subject
from testbenches.prove.prover import Proof, prove_subjects
from testbenches.prove.replay import write_refutation

SECONDS = 60.0  # for one proof
Say = Callable[[str], None]


class Refuter:
    """Holds survivors against the core they were made from, both before a solver.

    `lockstep` is that of the core with the mutants in it; `width` that of the choice among them.
    """

    def __init__(
        self, lockstep: Lockstep, width: int, simulator: str, folder: Path, say: Say
    ) -> None:
        self._lockstep, self._width = lockstep, width
        self._simulator, self._folder, self._say = simulator, folder, say
        self._profile = lockstep.profile

    def judge(self, fates: Iterable[Fate]) -> None:
        """Say of each survivor which run kills it, or that none can; the rest is unknown."""
        asked = [fate for fate in fates if fate.fate in (SURVIVED, UNKNOWN)]
        found: list[tuple[Fate, Path]] = []
        for done, fate in enumerate(asked, 1):
            self._say(f"proof: {done} of {len(asked)} survivors")
            path = self._asked(fate)
            if path is not None:
                found.append((fate, path))
        if found:
            self._play(found)

    def _asked(self, fate: Fate) -> Path | None:
        """Return the scenario that tells a survivor from the core, None if none was found."""
        effort = Effort(seconds=SECONDS, second=False)
        one, other = (self._subject(n) for n in (fate.mutant.number, 0))
        try:
            proof = prove_subjects(one, other, "the mutant equals the core", effort)
        except (CannotRun, UserError) as error:
            fate.fate, fate.why = UNKNOWN, str(error)
            return None
        if proof.verdict.verdict == REFUTED:
            return self._written(proof, fate.mutant)
        if proof.verdict.verdict == PROVED:
            fate.fate = UNSEEN
            fate.why = "nothing that is compared can ever differ with accesses as the bench makes"
        else:
            fate.fate, bounded = UNKNOWN, proof.verdict
            fate.why = f"no difference within {bounded.depth} cycles of reset; {bounded.why}"
        return None

    def _subject(self, number: int) -> Subject:
        """Return the core with one of its mutants chosen; 0 is the core as it was."""
        binding, ports = self._lockstep.binding, self._lockstep.ports
        tied = binding.model_copy(update={"tie": {**binding.tie, CHOICE: number}})
        chosen = {**ports.ports, CHOICE: Port(CHOICE, "input", self._width)}
        ports = replace(ports, ports=chosen)
        return Subject(tied, self._profile, ports, generate(tied, ports))

    def _written(self, proof: Proof, mutant: Mutant) -> Path:
        path = self._folder / f"kills-{mutant.number}.yaml"
        write_refutation(proof, path)
        return path

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
                fate.fate, fate.why = UNKNOWN, "a proof tells it apart, and the simulator does not"
                continue
            fate.fate, fate.clause, fate.why = SURVIVED, judged.clause, f"{path.name}: {judged.why}"
            fate.killer = path.read_text(encoding="utf-8")
