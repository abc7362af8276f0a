"""Proves the reference core with each defect of the catalogue, and prints what refutes it.

python -m testbenches.prove.catalogue [DEFECT ...] [--seconds 60]

Each row has what differs first, how long the run is, the clause of the entry, and the clause that
the simulators report. The last column has the seconds of one processor that the proof took.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

from hdl_stubs.defects import REFERENCE, Defect, apply, load_defects
from refmodel.prove.verdict import REFUTED, Verdict
from testbenches.prove.attempt import Effort
from testbenches.prove.prover import prove_binding
from testbenches.prove.replay import replayed

HEAD = ("defect", "what differs first", "cycles", "shortest", "clause", "reported", "CPU s")


@dataclass(frozen=True)
class Refuted:
    """What a proof finds of a core with a defect, and what simulators show of it.

    `clauses` has what each simulator reports, by its name. `differs` says in what they show
    something else than the proof; `seconds` is the work of one processor.
    """

    defect: Defect
    verdict: Verdict
    clauses: dict[str, str]
    differs: str
    seconds: float

    @property
    def row(self) -> tuple[str, ...]:
        """The columns of the table."""
        verdict = self.verdict
        found = ", ".join(dict.fromkeys(self.clauses.values())) or "none"
        return (
            self.defect.name,
            ", ".join(verdict.broken) or verdict.verdict,
            str(verdict.length),
            "yes" if verdict.shortest else "not known",
            self.defect.clause,
            found + (f" ({self.differs})" if self.differs else ""),
            f"{self.seconds:.0f}",
        )


def refute(defect: Defect, folder: Path, seconds: float = 60) -> Refuted:
    """Prove the reference core with a defect in it, and replay the run that shows it.

    It is done in a process of its own, as by the command: what a solver finds depends on what it
    was asked before.
    """
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        return pool.submit(_refute, defect, folder, seconds).result()


def _refute(defect: Defect, folder: Path, seconds: float) -> Refuted:
    apply(defect, REFERENCE, folder)
    binding = folder / "binding.yaml"
    began = time.process_time()
    proof = prove_binding(binding, {}, Effort(seconds=seconds))
    spent = time.process_time() - began
    if proof.verdict.verdict != REFUTED:
        return Refuted(defect, proof.verdict, {}, proof.verdict.why, spent)
    result, differs = replayed(proof, binding, {}, None)
    outcomes = [run.outcome for run in result.runs]
    clauses = {o.simulator: o.finding.cause.clause for o in outcomes if o.finding is not None}
    return Refuted(defect, proof.verdict, clauses, differs, spent)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", metavar="DEFECT", help="By default all.")
    parser.add_argument("--seconds", type=float, default=60.0, help="For each, by the clock.")
    given = parser.parse_args()
    print(f"| {' | '.join(HEAD)} |\n{'|---' * len(HEAD)}|", flush=True)
    for defect in load_defects():
        if not given.names or defect.name in given.names:
            with tempfile.TemporaryDirectory() as folder:
                row = refute(defect, Path(folder) / "core", given.seconds).row
            print(f"| {' | '.join(row)} |", flush=True)


if __name__ == "__main__":
    main()
