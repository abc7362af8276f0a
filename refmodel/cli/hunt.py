"""`cellstep hunt`: looks for a mismatch with random cases, and makes it small."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from refmodel.cli.options import Policies, Seed, chosen_policies
from refmodel.cli.run import Simulators
from refmodel.cli.wrote import say_wrote


def hunt_command(
    binding: Annotated[Path, typer.Argument(metavar="BINDING", help="The core's binding file.")],
    seconds: Annotated[
        float, typer.Option(metavar="S", min=0, help="How long to look, on each simulator.")
    ] = 30,
    cases: Annotated[
        int, typer.Option(metavar="N", min=1, help="How many cases at most, a seed each.")
    ] = 1_000_000,
    sim: Annotated[
        Simulators | None, typer.Option(help="Which simulators; by default the fastest there is.")
    ] = None,
    seed: Seed = 1,
    keep_going: Annotated[
        bool, typer.Option("--keep-going", help="Go on to the end, for all kinds of mismatch.")
    ] = False,
    policy: Policies = None,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER", help="Folder for hunt.json, report.txt and a scenario a failure."
        ),
    ] = None,
) -> None:
    """Play random cases aimed at what meets on one edge, and make a failing one small.

    Example: cellstep hunt binding.yaml --seconds 60 --out hunted

    What is found is a scenario of a few lines, which `cellstep run` plays anywhere. The same seed
    draws the same cases. Exit status: 0 no mismatch, 1 mismatch, 2 bad input, 125 a core that does
    not build or run.
    """
    from rich.console import Console

    from refmodel.ground.errors import EXIT_AGREE, EXIT_MISMATCH
    from refmodel.hunt.report import as_json, lines
    from refmodel.profile import load_profile
    from refmodel.report.atomic import write_text
    from refmodel.report.progress import Progress
    from testbenches.binding.load import load_binding
    from testbenches.hunter import Hunter, write_case
    from testbenches.toolchain import simulators

    chosen = chosen_policies(policy)
    names = simulators(sim.names if sim else ())
    names = names if sim else names[-1:]
    loaded = load_binding(binding)
    layout = load_profile(loaded.profile, loaded.folder).status
    hunts = []
    with Progress(Console(stderr=True)) as progress:
        for name in names:
            hunter = Hunter(binding, name, chosen, progress.say, seed)
            hunts.append(hunter.hunt(seconds, cases, keep_going))
    if out is not None:
        out.mkdir(parents=True, exist_ok=True)
        numbered = enumerate((f for h in hunts for f in h.failures), 1)
        for number, failure in numbered:
            failure.file = str(write_case(failure, out, number))
    told = [line for hunted in hunts for line in lines(hunted, layout)]
    for line in told:
        typer.echo(line)
    if out is not None:
        write_text(out / "hunt.json", as_json(hunts))
        write_text(out / "report.txt", "\n".join(told) + "\n")
        say_wrote(out, "hunt.json, report.txt, a scenario for each failure")
    failed = any(hunted.verdict != "agree" for hunted in hunts)
    raise typer.Exit(EXIT_MISMATCH if failed else EXIT_AGREE)
