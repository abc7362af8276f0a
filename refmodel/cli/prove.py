"""`cellstep prove`: equal for all inputs, not only those tried."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from typing_extensions import TypedDict

from refmodel.cli.either import names_profile
from refmodel.cli.options import Policies, chosen_policies
from refmodel.cli.reporting import AsJson, Quiet, report
from refmodel.ground.errors import EXIT_AGREE, EXIT_CANNOT_RUN, EXIT_MISMATCH

if TYPE_CHECKING:
    from refmodel.prove.theorems import Proven
    from testbenches.prove.prover import Proof


def prove_command(
    given: Annotated[
        str,
        typer.Argument(metavar="BINDING|PROFILE", help="A shipped profile, or a file of either."),
    ],
    policy: Policies = None,
    seconds: Annotated[
        float, typer.Option(metavar="S", min=1, help="How long to try, in seconds.")
    ] = 300,
    depth: Annotated[
        int,
        typer.Option(
            metavar="N", min=1, help="Cycles from the reset on to search where induction fails."
        ),
    ] = 200,
    second: Annotated[bool, typer.Option(help="Check each proof with a second solver.")] = True,
    against: Annotated[
        Path | None,
        typer.Option(
            metavar="BINDING", help="Hold this binding's core against the first one's instead."
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Folder for proof.json and the run that refutes."),
    ] = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Prove that a core equals the model for all inputs in every cycle, or show where it does not.

    proved holds for ever under the assumptions that are listed. bounded says only that nothing
    differs within so many cycles of reset. refuted comes with a scenario that shows it.

    With a profile: prove of its model what the clauses of SPEC.md say.

    With --against: prove two versions of a core equal, whatever the model says.

    Example: cellstep prove binding.yaml --out proof

    Example: cellstep prove before.yaml --against after.yaml

    Exit status: 0 proved, 1 refuted, 2 bad input, 125 bounded, or a core yosys does not take.
    """
    from rich.console import Console

    from refmodel.prove.verdict import REFUTED
    from refmodel.report.progress import Progress
    from refmodel.report.whole_folder import WholeFolder
    from testbenches.prove.attempt import Effort
    from testbenches.prove.prover import prove_against, prove_binding

    effort = Effort(seconds=seconds, depth=depth, second=second)
    policies = chosen_policies(policy)
    if out is not None:
        with WholeFolder(out):
            pass  # what cannot be written is told before anything is proved
    if against is None and names_profile(given):
        raise typer.Exit(_prove_clauses(given, policies, quiet, as_json))
    binding = Path(given) if against is None else against
    with Progress(Console(stderr=True)) as progress:
        if against is None:
            proof = prove_binding(binding, policies, effort, progress.say)
        else:
            proof = prove_against(Path(given), against, effort, policies, progress.say)
    verdict = proof.verdict
    if out is not None:
        out.mkdir(parents=True, exist_ok=True)
    if verdict.verdict == REFUTED:
        _show_refutation(proof, binding, policies, out, quiet or as_json, against is None)
    report(
        quiet,
        as_json,
        full=lambda: typer.echo("\n".join(verdict.lines())),
        line=lambda: next(verdict.lines()),
        data=verdict.to_json,
    )
    if out is not None:
        from refmodel.report.atomic import write_text

        write_text(out / "proof.json", verdict.to_json())
    raise typer.Exit(verdict.exit_status)


def _prove_clauses(name: str, policies: dict[str, str], quiet: bool, as_json: bool) -> int:
    """Prove the clauses of a profile's model, and tell each; return the exit status."""
    from refmodel.block.rules import Rules
    from refmodel.profile import load_profile
    from refmodel.prove.theorems import described, prove_all

    every = []
    for proven in prove_all(Rules.of(load_profile(name).with_policies(policies))):
        every.append(proven)
        if not (quiet or as_json):
            typer.echo(described(proven))
    found = [proven.holds for proven in every]
    report(
        quiet,
        as_json,
        full=lambda: None,
        line=lambda: f"{found.count(True)} of {len(found)} statements proved for profile {name}",
        data=lambda: json.dumps([_as_data(proven) for proven in every], indent=2),
    )
    if False in found:
        return EXIT_MISMATCH
    return EXIT_CANNOT_RUN if None in found else EXIT_AGREE


class TheoremForm(TypedDict):
    """What became of a statement about the model of a profile."""

    clause: str
    """The clause of SPEC.md."""
    says: str
    """The statement."""
    needs: list[str]
    """The policies without which it does not hold; for others it is left out."""
    holds: bool | None
    """Whether it holds for all inputs; null if time was over."""
    seconds: float
    """How long it took."""


def _as_data(proven: Proven) -> TheoremForm:
    theorem = proven.theorem
    return {
        "clause": theorem.clause,
        "says": theorem.says,
        "needs": list(theorem.needs),
        "holds": proven.holds,
        "seconds": proven.seconds,
    }


def _show_refutation(
    proof: Proof,
    given: Path,
    policies: dict[str, str],
    out: Path | None,
    silent: bool,
    against_model: bool,
) -> None:
    """Replay the run that refutes in simulators, and show the usual report of it.

    Where no simulator shows a mismatch with the model the refutation is taken back.
    """
    from rich.console import Console

    from refmodel.report.terminal import show_mismatches
    from testbenches.prove.replay import NAME, nowhere_shown, replayed

    file = out / NAME if out is not None else None
    result, differs = replayed(proof, given, policies, file)
    proof.verdict.scenario = str(file or "")
    if not silent:
        show_mismatches(Console(), result)
    simulators = ", ".join(result.simulators)
    proof.verdict.replayed = differs or f"{simulators}: the same first mismatch"
    if against_model and nowhere_shown(proof, result):
        proof.verdict.take_back(
            f"in a run on the netlist, but its replay shows no mismatch on {simulators};"
            " see whether your design can meet that run"
        )
