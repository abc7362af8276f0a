"""`cellstep explain`: one moment of a scenario, with its causes."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from refmodel.cli.of_result import (
    RunName,
    ScenarioOrResult,
    again,
    given_by_user,
    is_result,
    refuse_own,
)
from refmodel.cli.options import Policies, ProfileName, Programs, Seed, chosen_policies
from refmodel.cli.reporting import AsJson, Quiet, report
from refmodel.cli.wrote import say_wrote
from refmodel.ground.errors import UserError

if TYPE_CHECKING:
    from refmodel.explain.moment import Found, Moment


def explain_command(
    context: typer.Context,
    scenario: ScenarioOrResult,
    around: Annotated[
        str,
        typer.Option(
            metavar="KIND:N", help="The moment: sync:N, read:N, byte:N, cycle:N or mismatch:N."
        ),
    ] = "sync:1",
    run: RunName = "",
    profile: ProfileName = "pal_dd",
    policy: Policies = None,
    programs: Programs = None,
    seed: Seed = 1,
    svg: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Also write the diagram to this SVG file.")
    ] = None,
    wavejson: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Also write the drawing as WaveJSON to this file."),
    ] = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Explain one moment: each edge around it, what it changes and why, and a timing diagram.

    Example: cellstep explain status/sync_poll --around sync:2 --svg sync.svg

    Example: cellstep explain results --around mismatch:1

    Example: cellstep explain results --run sync_poll/verilator --around cycle:1200

    In a result folder, mismatch:N is the first mismatch of the Nth run that has one. Profile,
    policies and seed are those of the run. The core's lanes are kept for the revolution of the
    first mismatch, or else for the first revolution.

    No simulator is needed. Exit status: 0, 2 for bad input, 125 for a mismatch of a core that does
    not compile any more.
    """
    del programs  # taken already
    from rich.console import Console

    from refmodel.explain import diagram
    from refmodel.explain.moment import MISMATCH, parse_moment
    from refmodel.explain.story import heading, story_json, write_story
    from refmodel.report.atomic import write_text
    from refmodel.report.progress import Progress

    moment = parse_moment(around)
    recorded = is_result(scenario) or moment.kind == MISMATCH
    if run and not recorded:
        raise UserError(f"--run {run}: goes with the folder of a run's results")
    with Progress(Console(stderr=True)) as progress:
        progress.say(f"model: looking for {around}")
        if recorded:
            refuse_own(context)
            asked = moment if given_by_user(context, "around") else None
            found = _found_in_result(Path(scenario), run, asked)
        else:
            found = _found_in_scenario(scenario, profile, chosen_policies(policy), seed, moment)
    report(
        quiet,
        as_json,
        full=lambda: write_story(sys.stdout, found),
        line=lambda: heading(found),
        data=lambda: story_json(found),
    )
    if svg is not None:
        write_text(svg, diagram.svg(found), "--svg")
        say_wrote(svg, "timing diagram, SVG")
    if wavejson is not None:
        write_text(wavejson, diagram.wavejson(found), "--wavejson")
        say_wrote(wavejson, "timing diagram, WaveJSON")


def _found_in_scenario(
    name: str, profile: str, policies: dict[str, str], seed: int, moment: Moment
) -> Found:
    from refmodel.explain.moment import find_moment
    from refmodel.profile import load_profile
    from refmodel.world.find import find_scenario

    chosen = load_profile(profile).with_policies(policies)
    return find_moment(*find_scenario(name), chosen, seed, moment)


def _found_in_result(folder: Path, name: str, moment: Moment | None) -> Found:
    """Return a moment of a run; by default its first mismatch, else the first match."""
    from refmodel.explain.moment import MISMATCH, Moment
    from refmodel.explain.results import find_in_run, recorded_run

    run = recorded_run(folder, moment, name)
    if moment is None:
        moment = Moment(MISMATCH, 1) if run.entry.first_mismatch else Moment("sync", 1)
    return find_in_run(run, moment, lambda: again(run))
