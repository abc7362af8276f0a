"""`cellstep hunt`: looks for a mismatch with random cases, and makes it small."""

from __future__ import annotations

from contextlib import ExitStack, closing
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from refmodel.cli.options import HistoryFile, Policies, chosen_policies
from refmodel.cli.reporting import AsJson, Quiet, report
from refmodel.cli.run import Simulators
from refmodel.cli.wrote import write_and_show

if TYPE_CHECKING:
    from collections.abc import Callable

    from testbenches.hunt.pool import Pool


def hunt_command(
    binding: Annotated[Path, typer.Argument(metavar="BINDING", help="The core's binding file.")],
    seconds: Annotated[
        float, typer.Option(metavar="S", min=0, help="How long to hunt, on each simulator.")
    ] = 30,
    cases: Annotated[
        int,
        typer.Option(metavar="N", min=1, help="How many cases at most; one seed each."),
    ] = 1_000_000,
    sim: Annotated[
        Simulators | None, typer.Option(help="Which simulators; by default the fastest there is.")
    ] = None,
    seed: Annotated[
        int | None,
        typer.Option(
            metavar="N", min=0, help="First seed; by default 1, or the next one of the history."
        ),
    ] = None,
    keep_going: Annotated[
        bool,
        typer.Option("--keep-going", help="Find every kind of mismatch, not the first alone."),
    ] = False,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers",
            metavar="N",
            min=1,
            help="Processes here; by default one per processor.",
        ),
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            "--scheduler",
            metavar="ADDRESS",
            help="Use the workers of this dask scheduler.",
        ),
    ] = None,
    coverage: Annotated[
        bool,
        typer.Option(
            "--coverage",
            help="Count which branches of the source ran and which bits changed (Verilator).",
        ),
    ] = False,
    history: HistoryFile = None,
    policy: Policies = None,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER",
            help="Folder for hunt.json, report.txt and each failure's scenario.",
        ),
    ] = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Play random cases aimed at events on one edge, and shrink each failure.

    Example: cellstep hunt binding.yaml --seconds 60 --out hunted

    What is found is a scenario of a few lines, which `cellstep run` plays anywhere. The same seed
    draws the same cases. Exit status: 0 no mismatch, 1 mismatch, 2 bad input, 125 a core that does
    not build or run.
    """
    from rich.console import Console

    from refmodel.ground.errors import EXIT_AGREE, EXIT_MISMATCH
    from refmodel.hunt.report import as_json as hunts_json
    from refmodel.hunt.report import lines, summary
    from refmodel.profile import load_profile
    from refmodel.report.history import History
    from refmodel.report.progress import Progress
    from refmodel.report.whole_folder import WholeFolder
    from testbenches.binding.load import load_binding
    from testbenches.hunt.hunter import Hunter, case_files
    from testbenches.toolchain import simulators

    chosen = chosen_policies(policy)
    names = simulators(sim.names if sim else ())
    names = names if sim else names[-1:]
    loaded = load_binding(binding)
    layout = load_profile(loaded.profile, loaded.folder).status
    hunts = []
    with ExitStack() as stack:
        folder = stack.enter_context(WholeFolder(out)) if out else None
        progress = stack.enter_context(Progress(Console(stderr=True)))
        notes: list[str] = []
        store = stack.enter_context(closing(History(history, notes.append))) if history else None
        pool = _pool(stack, workers, scheduler, notes.append)
        for name in names:
            hunter = Hunter(binding, name, chosen, progress.say, seed, pool, store, coverage)
            with hunter:
                hunts.append(hunter.hunt(seconds, cases, keep_going))
        for line in notes:
            typer.echo(line, err=True)
        failed = any(hunted.verdict != "agree" for hunted in hunts)
        found = case_files(hunts, out, hunter.lasts) if out is not None else []
        text = [line for hunted in hunts for line in lines(hunted, layout)]
        files = [("hunt.json", hunts_json(hunts)), ("report.txt", "\n".join(text) + "\n"), *found]
        status = EXIT_MISMATCH if failed else EXIT_AGREE

        def show() -> None:
            report(
                quiet,
                as_json,
                full=lambda: typer.echo("\n".join(text)),
                line=lambda: "\n".join(map(summary, hunts)),
                data=lambda: hunts_json(hunts),
            )

        write_and_show(folder, out, lambda: files, show, status)
    raise typer.Exit(status)


def _pool(
    stack: ExitStack, workers: int | None, scheduler: str | None, say: Callable[[str], None]
) -> Pool:
    """Return who plays the batches."""
    from refmodel.ground.processors import processors
    from testbenches.hunt.pool import Alone, Local, Scheduled

    if scheduler is not None:
        return stack.enter_context(Scheduled(scheduler, say))
    count = workers or processors()
    return stack.enter_context(Local(count)) if count > 1 else Alone()
