"""`cellstep trace`: the model alone, edge by edge."""

from __future__ import annotations

import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from refmodel.cli.of_result import RunName, ScenarioOrResult, again, is_result, refuse_own
from refmodel.cli.options import Policies, ProfileName, Programs, Seed, chosen_policies
from refmodel.cli.reporting import AsJson, Quiet
from refmodel.cli.wrote import say_wrote
from refmodel.ground.errors import UserError

if TYPE_CHECKING:
    from refmodel.explain.trace import Trace


class TraceFormat(StrEnum):
    """What `--format` takes."""

    table = "table"
    json = "json"
    csv = "csv"
    vcd = "vcd"


FORMS = {
    TraceFormat.table: "table",
    TraceFormat.json: "JSON",
    TraceFormat.csv: "CSV",
    TraceFormat.vcd: "VCD",
}


def trace_command(
    context: typer.Context,
    scenario: ScenarioOrResult,
    run: RunName = "",
    profile: ProfileName = "pal_dd",
    first: Annotated[
        int | None,
        typer.Option(
            "--from",
            metavar="CYCLE",
            help="First cycle shown; by default 100 before a match, or before the mismatch.",
        ),
    ] = None,
    last: Annotated[
        int | None,
        typer.Option("--to", metavar="CYCLE", help="Last cycle shown; by default 200 in all."),
    ] = None,
    layout: Annotated[
        TraceFormat, typer.Option("--format", help="Output format.")
    ] = TraceFormat.table,
    policy: Policies = None,
    programs: Programs = None,
    seed: Seed = 1,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write to this file, not to the terminal.")
    ] = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Show what status reads in each cycle with an event, and why it changes.

    Example: cellstep trace status/iso_sectors --from 1200 --to 1500

    Example: cellstep trace results --run sync_poll --from 600 --to 800 --format csv

    No simulator is needed. Exit status: 0, 2 for bad input.
    """
    del programs  # taken already
    from rich.console import Console

    from refmodel.explain.trace import WRITERS, model_trace
    from refmodel.profile import load_profile
    from refmodel.report.atomic import write_whole
    from refmodel.report.progress import Progress
    from refmodel.world.find import find_scenario

    recorded = is_result(scenario)
    if run and not recorded:
        raise UserError(f"--run {run}: goes with the folder of a run's results")
    with Progress(Console(stderr=True)) as progress:
        progress.say(f"model: playing {scenario}")
        if recorded:
            refuse_own(context)
            trace = _trace_of_run(Path(scenario), run, first, last)
        else:
            chosen = load_profile(profile).with_policies(chosen_policies(policy))
            trace = model_trace(*find_scenario(scenario), chosen, seed, first, last)
    typer.echo(trace.about, err=True)
    layout = TraceFormat.json if as_json else layout
    write = WRITERS[layout.value]
    if out is None and quiet:
        typer.echo(trace.summary)
    elif out is None:
        write(sys.stdout, trace)
    else:
        write_whole(out, lambda file: write(file, trace))
        say_wrote(out, f"trace, {FORMS[layout]}")


def _trace_of_run(folder: Path, name: str, first: int | None, last: int | None) -> Trace:
    """Return some cycles of a recorded run, by default those around its first mismatch."""
    from refmodel.explain.results import recorded_run, trace_of_run

    run = recorded_run(folder, None, name)
    return trace_of_run(run, first, last, lambda: again(run))
