"""`cellstep explain`: one moment of a scenario, with its causes."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from refmodel.cli.options import Policies, ProfileName, Programs, Seed, chosen_policies
from refmodel.cli.wrote import say_wrote
from refmodel.ground.errors import UserError

if TYPE_CHECKING:
    from refmodel.explain.moment import Found, Moment


def explain_command(
    context: typer.Context,
    scenario: Annotated[
        str,
        typer.Argument(
            metavar="SCENARIO",
            help="A scenario file, or a shipped one such as status/iso_sectors; for a mismatch the"
            " folder of run --out.",
        ),
    ],
    around: Annotated[
        str,
        typer.Option(
            metavar="KIND:N", help="The moment: sync:N, read:N, byte:N, cycle:N or mismatch:N."
        ),
    ] = "sync:1",
    profile: ProfileName = "pal_dd",
    policy: Policies = None,
    programs: Programs = None,
    seed: Seed = 1,
    svg: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Also draw it to this SVG file.")
    ] = None,
    wavejson: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Also write the drawing as WaveJSON to this file."),
    ] = None,
) -> None:
    """Explain one moment: each edge around it, what it changes and why, and a timing diagram.

    Example: cellstep explain status/sync_poll --around sync:2 --svg sync.svg

    Example: cellstep explain results --around mismatch:1

    mismatch:N is where the Nth run that differs, of those `run --out results` has written, first
    parts from the model, with the profile, policies and seed of that run; not for a core with a
    separator of its own.

    No simulator takes part. Exit status: 0, 2 for bad input, 125 for a mismatch of a core that does
    not compile any more.
    """
    del programs  # taken already
    from rich.console import Console

    from refmodel.explain import diagram
    from refmodel.explain.mismatch import RESULT
    from refmodel.explain.moment import MISMATCH, parse_moment
    from refmodel.explain.story import write_story
    from refmodel.report.atomic import write_text
    from refmodel.report.progress import Progress

    moment = parse_moment(around)
    if moment.kind != MISMATCH and (Path(scenario) / RESULT).is_file():
        raise UserError(f"{scenario}: is what a run has written; ask for --around mismatch:1")
    with Progress(Console(stderr=True)) as progress:
        progress.say(f"model: looking for {around}")
        if moment.kind == MISMATCH:
            _refuse_own(context)
            found = _found_in_result(Path(scenario), moment.number)
        else:
            found = _found_in_scenario(scenario, profile, chosen_policies(policy), seed, moment)
    write_story(sys.stdout, found)
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


def _found_in_result(path: Path, number: int) -> Found:
    """Return the first mismatch of a run, found on the model as the core was bound."""
    from refmodel.explain.mismatch import read_mismatch
    from refmodel.explain.moment import Moment, find_in
    from refmodel.host.catalogue import use_programs
    from testbenches.model_side import model_side

    run = read_mismatch(path, number)
    for file in run.programs:
        use_programs(file)
    disk, spans = model_side(run.binding, run.scenario, run.policies, run.seed)
    return run.told(find_in(disk, spans, Moment("cycle", run.cycle)))


def _refuse_own(context: typer.Context) -> None:
    """Raise UserError for an option that a run has settled."""
    for name in ("profile", "policy", "seed"):
        source = context.get_parameter_source(name)
        if source is not None and source.name == "COMMANDLINE":
            raise UserError(f"--{name}: a mismatch is explained with that of its run; leave it out")
