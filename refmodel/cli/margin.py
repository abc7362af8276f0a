"""`cellstep margin`: what a data separator survives."""

from __future__ import annotations

from contextlib import nullcontext
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from refmodel.cli.options import Seed

if TYPE_CHECKING:
    from rich.progress import Progress


class Separators(StrEnum):
    """What `--separator` takes."""

    rephase = "rephase"
    counter = "counter"
    second_order = "second_order"
    all = "all"


def margin_command(
    profile: Annotated[str, typer.Argument(help="A shipped profile, or a file.")],
    separator: Annotated[
        Separators, typer.Option(help="Which of the profile's separators.")
    ] = Separators.all,
    points: Annotated[
        int, typer.Option(help="Speeds, and as many jitters, of each error map.")
    ] = 20,
    seed: Seed = 1,
    out: Annotated[
        Path | None, typer.Option(help="Folder for margin.json, margin.csv and the plots.")
    ] = None,
) -> None:
    """Measure how much speed error, jitter, shift and dropout a data separator survives.

    Example: cellstep margin pal_dd --separator second_order --out margins

    Exit status: 0, 2 for bad input.
    """
    from rich.console import Console

    from refmodel.block.profile import load_profile
    from refmodel.margin.subject import Model
    from refmodel.margin.sweep import job_count, sweep
    from refmodel.report.margin_files import MarginFolder
    from refmodel.report.margin_table import table
    from refmodel.separator.choose import NAMES

    names = NAMES if separator is Separators.all else (separator.value,)
    chosen = load_profile(profile)
    subjects = [Model.of(chosen, name) for name in names]
    total = job_count(chosen, subjects, seed, points)
    folder = MarginFolder(out) if out else None
    with folder or nullcontext():
        with _bar() as bar:
            task = bar.add_task("margins", total=total)
            result = sweep(chosen, subjects, seed, points, done=lambda: bar.advance(task))
        files = folder.write_margin(result) if folder is not None else []
    Console().print(table(result))
    if files:
        typer.echo(f"\n{', '.join(files)} in {out}", err=True)


def _bar() -> Progress:
    """Return a progress bar on a terminal, and none elsewhere."""
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    return Progress(console=console, transient=True, disable=not console.is_terminal)
