"""`cellstep check`: a capture held to the model, without a simulator."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path
from typing import Annotated

import typer

from refmodel.cli.options import Policies, chosen_policies
from refmodel.cli.reporting import AsJson, Quiet, report
from refmodel.cli.wrote import say_wrote


def check_command(
    capture: Annotated[
        Path,
        typer.Argument(
            metavar="CAPTURE", help="A waveform (.vcd, .fst), samples (.csv), a log, or a pipe."
        ),
    ],
    given: Annotated[
        Path | None,
        typer.Option("--map", metavar="MAP", help="Which recorded signal plays which role."),
    ] = None,
    draft: Annotated[
        bool, typer.Option("--draft", help="Propose a map from the signals, and compare nothing.")
    ] = False,
    policy: Policies = None,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER",
            help="Folder for report.html, result.json, junit.xml, report.txt and waves; with"
            " --draft, the file for the map.",
        ),
    ] = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Compare a capture with the model at each recorded cycle and access.

    The capture may begin in the middle of a run. Cycles it cannot decide are counted, and never
    pass as correct.

    Example: cellstep check bench.vcd --map map.yaml --out results

    Exit status: 0 agree, 1 mismatch, 2 bad input, nothing compared or undecided.
    """
    from refmodel.ground.errors import UserError

    if draft:
        _draft(capture, out)
        return
    if given is None:
        raise UserError("--map: a capture needs a map of its signals; --draft proposes one")
    raise typer.Exit(_check(capture, given, chosen_policies(policy), out, quiet, as_json))


def _draft(capture: Path, out: Path | None) -> None:
    """Propose a map."""
    from refmodel.capture.draft import draft_map
    from refmodel.capture.opened import open_recording
    from refmodel.report.atomic import write_text

    text = draft_map(open_recording(capture))
    if out is None:
        typer.echo(text, nl=False)
        return
    write_text(out, text)
    say_wrote(out, "draft of a map; read each line before you trust it")


def _check(
    capture: Path,
    given: Path,
    policies: dict[str, str],
    out: Path | None,
    quiet: bool,
    as_json: bool,
) -> int:
    """Check a capture, tell what was found, and return the exit status."""
    from rich.console import Console

    from refmodel.capture.check import check
    from refmodel.capture.check_result import as_result
    from refmodel.capture.opened import open_capture
    from refmodel.capture.progress import ReadBar
    from refmodel.report.outdir import ResultFolder
    from refmodel.report.result_json import to_json
    from refmodel.report.terminal import show, total

    with ResultFolder(out) if out else nullcontext() as folder:
        with ReadBar(Console(stderr=True), capture) as bar:
            opened = open_capture(capture, given, bar.read)
            checked = check(opened, policies)
        result = as_result(opened, checked, capture, given, policies)
        if folder is not None:
            folder.write([result])
    report(
        quiet,
        as_json,
        full=lambda: show(Console(), result),
        line=lambda: total(result),
        data=lambda: to_json([result]),
    )
    if out:
        say_wrote(out, "report.html, result.json, junit.xml, report.txt, waves of mismatches")
    return result.exit_status
