"""`cellstep explain`: one moment of a scenario, with its causes."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from refmodel.cli.options import Policies, Seed, chosen_policies
from refmodel.cli.wrote import say_wrote


def explain_command(
    scenario: Annotated[
        str, typer.Argument(help="A scenario file, or a shipped one such as status/iso_sectors.")
    ],
    around: Annotated[
        str,
        typer.Option(metavar="KIND:N", help="The moment: sync:N, read:N, byte:N or cycle:N."),
    ] = "sync:1",
    profile: Annotated[str, typer.Option(help="A shipped profile, or a file.")] = "pal_dd",
    policy: Policies = None,
    seed: Seed = 1,
    svg: Annotated[Path | None, typer.Option(help="Also draw it to this SVG file.")] = None,
    wavejson: Annotated[
        Path | None, typer.Option(help="Also write the drawing as WaveJSON to this file.")
    ] = None,
) -> None:
    """Explain one moment: each edge around it, what it changes and why, and a timing diagram.

    Example: cellstep explain status/sync_poll --around sync:2 --svg sync.svg

    No core and no simulator takes part. Exit status: 0, 2 for bad input.
    """
    from refmodel.block.profile import load_profile
    from refmodel.explain import diagram
    from refmodel.explain.moment import find_moment, parse_moment
    from refmodel.explain.story import write_story
    from refmodel.host.find import find_scenario
    from refmodel.report.whole import write_text

    chosen = load_profile(profile).with_policies(chosen_policies(policy))
    found = find_moment(*find_scenario(scenario), chosen, seed, parse_moment(around))
    write_story(sys.stdout, found)
    if svg is not None:
        write_text(svg, diagram.svg(found), "--svg")
        say_wrote(svg, "timing diagram, SVG")
    if wavejson is not None:
        write_text(wavejson, diagram.wavejson(found), "--wavejson")
        say_wrote(wavejson, "timing diagram, WaveJSON")
