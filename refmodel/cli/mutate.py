"""`cellstep mutate`: how many one-point changes of a core the suites would miss."""

from __future__ import annotations

from contextlib import nullcontext
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from refmodel.cli.options import HistoryFile, Policies, Seed, chosen_policies
from refmodel.cli.reporting import AsJson, Quiet, report
from refmodel.cli.wrote import write_and_show

if TYPE_CHECKING:
    from collections.abc import Sequence

    from refmodel.mutate.score import Score


class Simulator(StrEnum):
    """What `--sim` takes."""

    icarus = "icarus"
    verilator = "verilator"


def mutate_command(
    bindings: Annotated[
        list[Path], typer.Argument(metavar="BINDING", help="One or more binding files.")
    ],
    suite: Annotated[
        list[str] | None,
        typer.Option(
            metavar="SUITE",
            help="A suite, a folder of scenarios or one scenario; may be repeated. By default"
            " quick, block, aimed; counters if the binding observes one; flux_lengths"
            " if the core takes flux.",
        ),
    ] = None,
    count: Annotated[
        int, typer.Option("--count", metavar="N", min=1, max=4000, help="How many changes.")
    ] = 400,
    sim: Annotated[
        Simulator | None, typer.Option(help="Which simulator; by default the fastest there is.")
    ] = None,
    seed: Seed = 1,
    solver: Annotated[
        bool, typer.Option(help="Ask a solver whether a survivor could be seen at all.")
    ] = True,
    history: HistoryFile = None,
    policy: Policies = None,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER",
            help="Folder for mutants.json, mutants.txt, a page for each core, and killing"
            " scenarios.",
        ),
    ] = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Plant one-point changes in a core, play the suites into each, and count what is missed.

    All changes are in one build, made by yosys; the core without them must agree with the model.
    A change that no scenario finds has survived, unless a solver shows that nothing can. For one
    that something can, a scenario that kills it is written to the folder of --out.

    Example: cellstep mutate binding.yaml --count 400 --out mutants

    Exit status: 0 every change that can be seen is killed, 1 some survived or are
    unknown, 2 bad input, 125 a
    core that yosys or the simulator does not take.
    """
    from rich.console import Console

    from refmodel.ground.errors import EXIT_AGREE, EXIT_MISMATCH
    from refmodel.mutate.report import files, lines, to_json, total
    from refmodel.mutate.score import SURVIVED, UNKNOWN
    from refmodel.report.progress import Progress
    from refmodel.report.whole_folder import WholeFolder
    from testbenches.mutate.mutator import Planting
    from testbenches.mutate.run import run_mutants
    from testbenches.toolchain import simulators

    name = simulators([sim.value] if sim else [])[-1]
    planting = Planting(name, suite or (), count, seed, chosen_policies(policy))
    with WholeFolder(out) if out else nullcontext() as folder:
        with Progress(Console(stderr=True)) as progress:
            scores = [run_mutants(path, planting, progress.say, solver) for path in bindings]
        if history is not None:
            _record(history, scores)
        survived = any(score.count(fate) for score in scores for fate in (SURVIVED, UNKNOWN))
        status = EXIT_MISMATCH if survived else EXIT_AGREE

        def show() -> None:
            shown = [line for score in scores for line in lines(score)]
            report(
                quiet,
                as_json,
                full=lambda: typer.echo("\n".join(shown)),
                line=lambda: "\n".join(total(score) for score in scores),
                data=lambda: to_json(scores),
            )

        write_and_show(folder, out, lambda: files(scores), show, status, "mutants-*.html")
    raise typer.Exit(status)


def _record(path: Path, scores: Sequence[Score]) -> None:
    """Write scores to a history."""
    from refmodel.mutate.report import total
    from refmodel.mutate.score import SURVIVED, UNKNOWN
    from refmodel.report.history import History

    history = History(path, lambda text: typer.echo(text, err=True))
    for score in scores:
        name = str(Path(score.binding).resolve())
        run = history.begin("mutate", name, score.simulator, score.seed)
        history.add(run, len(score.fates), score.cycles, {})
        left = score.count(SURVIVED) + score.count(UNKNOWN)
        verdict = "survived" if left else "agree"
        history.end(run, verdict, score.seconds, score.percent, total(score))
    history.close()
