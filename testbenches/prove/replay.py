"""A refutation replayed in simulators: it counts when they show the very same first mismatch."""

from __future__ import annotations

import tempfile
from pathlib import Path

from refmodel.report.result import AGREE, SuiteResult
from testbenches.prove.counterexample import scenario_of, write_scenario
from testbenches.prove.prover import Proof
from testbenches.suite import Options, run_bindings

NAME = "refuted.yaml"
TWO_STATES = "verilator"


def write_refutation(proof: Proof, path: Path) -> None:
    """Write the scenario of a refuted proof."""
    assert proof.product is not None
    assert proof.trace is not None
    name = f"{proof.subject.binding.core.top}_refuted"
    write_scenario(path, scenario_of(proof.product, proof.subject.harness, proof.trace, name))


def replay(given: Path, policies: dict[str, str], file: Path) -> SuiteResult:
    """Run the scenario file of a refutation in lockstep, on every simulator there is."""
    (result,) = run_bindings([given], str(file), Options(policies=policies))
    return result


def same_as_proof(proof: Proof, result: SuiteResult) -> str:
    """Say in what a replay differs from the proof; empty when each run shows the same mismatch."""
    assert proof.trace is not None
    cycle = proof.subject.binding.reset.cycles - 2 + len(proof.trace)
    if all(claim.startswith("read.") for claim in proof.trace.broken):
        cycle -= proof.subject.harness.shape.read_latency  # a report names the read's own cycle
    for run in result.runs:
        outcome = run.outcome
        if outcome.finding is None:
            if outcome.simulator == TWO_STATES and _begins_unknown(proof):
                continue
            said = f"{outcome.verdict} {outcome.note}".rstrip()
            return f"{outcome.simulator} shows no mismatch: {said}"
        mismatch = outcome.finding.mismatch
        if mismatch.cycle != cycle or mismatch.field not in proof.verdict.broken:
            return (
                f"{outcome.simulator} shows {mismatch.field} in cycle {mismatch.cycle} first, the"
                f" proof {', '.join(proof.verdict.broken)} in cycle {cycle}"
            )
    return ""


def nowhere_shown(proof: Proof, result: SuiteResult) -> bool:
    """Return whether every simulator played the run of a refutation, and none shows a mismatch.

    A two-state simulator alone proves nothing about a core whose registers begin unknown.
    """
    seen = {run.outcome.simulator for run in result.runs}
    if seen == {TWO_STATES} and _begins_unknown(proof):
        return False
    return all(run.outcome.verdict == AGREE for run in result.runs)


def _begins_unknown(proof: Proof) -> bool:
    """Return whether reset leaves a register of the core as it was at power on.

    A simulator of two states draws that value by its seed, and may draw the right one.
    """
    assert proof.product is not None
    system = proof.product.system
    return any(n.startswith("core.") and n not in system.start for n in system.state)


def replayed(
    proof: Proof, given: Path, policies: dict[str, str], file: Path | None
) -> tuple[SuiteResult, str]:
    """Replay a refutation from `file`, or from one that goes away again; say what differs."""
    with tempfile.TemporaryDirectory(prefix="cellstep-") as folder:
        path = file or Path(folder) / NAME
        write_refutation(proof, path)
        result = replay(given, policies, path)
    return result, same_as_proof(proof, result)
