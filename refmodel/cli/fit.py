"""`cellstep fit`: which policies, depths and numbers a real part follows."""

from __future__ import annotations

import json
from contextlib import nullcontext
from pathlib import Path
from typing import Annotated

import typer

from refmodel.cli.reporting import AsJson, Quiet, report
from refmodel.cli.wrote import say_wrote


def fit_command(
    captures: Annotated[
        list[Path],
        typer.Argument(metavar="CAPTURE", help="One or more captures of one controller."),
    ],
    given: Annotated[
        Path, typer.Option("--map", metavar="MAP", help="Which recorded signal plays which role.")
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER",
            help="Folder for profile.yaml, map.yaml, fit.json, next.md and scenarios.",
        ),
    ] = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Find the policies, depths and separator numbers that explain a controller's captures.

    Each answer is consistent, contradicted (with the first access that does so) or not exercised.
    For each open question it names a scenario to play and capture next. One that writes destroys
    what is on the disk: use a scrap disk.

    Example: cellstep fit bench.vcd --map map.yaml --out fitted

    Exit status: 0, 1 when no reading explains the captures, 2 for bad input.
    """
    from rich.console import Console

    from refmodel.capture.fit import fit
    from refmodel.capture.fit_files import files_of_fit, fit_json, show_fit, summary
    from refmodel.capture.next_capture import Plan, what_next
    from refmodel.capture.opened import open_capture
    from refmodel.ground.errors import EXIT_AGREE, EXIT_MISMATCH
    from refmodel.report.progress import Progress
    from refmodel.report.whole_folder import WholeFolder

    with WholeFolder(out) if out else nullcontext() as folder:
        with Progress(Console(stderr=True)) as progress:
            progress.say("fit: reading the captures")
            opened = [open_capture(path, given) for path in captures]
            fitted = fit(opened, progress.say)
            base = fitted.profile
            plan = what_next(fitted, opened[0].map, base, progress.say) if fitted.holds else Plan()
        report(
            quiet,
            as_json,
            full=lambda: show_fit(Console(), fitted, plan, base),
            line=lambda: summary(fitted),
            data=lambda: json.dumps(fit_json(fitted, plan, base), indent=1),
        )
        if folder is not None and out is not None:
            names = [str(path) for path in captures]
            written = folder.put(files_of_fit(fitted, plan, base, names, given), "next-*")
            say_wrote(out, ", ".join(written))
    raise typer.Exit(EXIT_AGREE if fitted.holds else EXIT_MISMATCH)
