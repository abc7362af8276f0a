"""`cellstep demo`: a good core, then a bad one."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def demo_command(
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER", help="Folder for both results and the core with the defect."
        ),
    ] = None,
) -> None:
    """Compare the reference core with the model, then a copy of it with one mistake.

    Example: cellstep demo --out demo

    Exit status: 0 when the first agrees and the mistake is found, 1 otherwise, 125 when no
    simulator can run.
    """
    from rich.console import Console

    from refmodel.ground.errors import EXIT_AGREE, EXIT_MISMATCH
    from refmodel.report.progress import Progress
    from refmodel.report.terminal import show, show_mismatches
    from testbenches.demo import run_demo

    console = Console()
    with Progress(Console(stderr=True)) as progress:
        well = run_demo(
            out,
            typer.echo,
            lambda result: show(console, result),
            lambda result: show_mismatches(console, result),
            progress.say,
        )
    raise typer.Exit(EXIT_AGREE if well else EXIT_MISMATCH)
