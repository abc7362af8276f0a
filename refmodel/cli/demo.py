"""`cellstep demo`: a good core, then a bad one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from refmodel.cli.reporting import AsJson, Quiet, report

if TYPE_CHECKING:
    from collections.abc import Callable

    from rich.console import Console

    from refmodel.report.result import SuiteResult


def demo_command(
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER", help="Folder for both results and the core with the defect."
        ),
    ] = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Compare the reference core with the model, then a copy with one defect.

    Example: cellstep demo --out demo

    Exit status: 0 when the first agrees and the defect is found, 1 otherwise, 125 when no
    simulator can run.
    """
    from rich.console import Console

    from refmodel.ground.errors import EXIT_AGREE, EXIT_MISMATCH
    from refmodel.report.progress import Progress
    from refmodel.report.result_json import to_json
    from refmodel.report.terminal import show, show_mismatches, total
    from testbenches.demo import run_demo

    console, silent = Console(), quiet or as_json
    results: list[SuiteResult] = []

    def take(result: SuiteResult, tell: Callable[[Console, SuiteResult], None]) -> None:
        results.append(result)
        if not silent:
            tell(console, result)

    with Progress(Console(stderr=True)) as progress:
        well = run_demo(
            out,
            (lambda _: None) if silent else typer.echo,
            lambda result: take(result, show),
            lambda result: take(result, show_mismatches),
            progress.say,
        )
    report(
        quiet,
        as_json,
        full=lambda: None,
        line=lambda: "\n".join(map(total, results)),
        data=lambda: to_json(results),
    )
    raise typer.Exit(EXIT_AGREE if well else EXIT_MISMATCH)
