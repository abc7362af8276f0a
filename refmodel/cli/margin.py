"""`cellstep margin`: what a data separator survives."""

from __future__ import annotations

import json
from contextlib import ExitStack
from enum import StrEnum
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from refmodel.cli.either import names_profile
from refmodel.cli.options import Seed
from refmodel.cli.reporting import AsJson, Quiet, report
from refmodel.cli.wrote import say_wrote
from refmodel.ground.errors import EXIT_AGREE, EXIT_MISMATCH

if TYPE_CHECKING:
    from refmodel.profile import Profile
    from testbenches.binding.schema import Binding
    from testbenches.trials import CoreSubject


MODEL_POINTS, CORE_POINTS = 20, 8


class Simulator(StrEnum):
    """What `--sim` takes: a sweep runs on one."""

    icarus = "icarus"
    verilator = "verilator"


class Separators(StrEnum):
    """What `--separator` takes."""

    rephase = "rephase"
    counter = "counter"
    second_order = "second_order"
    all = "all"


def margin_command(
    given: Annotated[
        str,
        typer.Argument(metavar="PROFILE|BINDING", help="A shipped profile, or a file of either."),
    ],
    separator: Annotated[
        Separators, typer.Option(help="Which of the profile's separators.")
    ] = Separators.all,
    points: Annotated[
        int | None,
        typer.Option(
            metavar="N",
            help="Number of speeds, and of jitter values, in each error map; by default"
            f" {MODEL_POINTS}, or {CORE_POINTS} with a core.",
        ),
    ] = None,
    sim: Annotated[
        Simulator | None,
        typer.Option(help="Which simulator runs a core; by default the fastest here."),
    ] = None,
    seed: Seed = 1,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER", help="Folder for margin.html, margin.json, margin.csv and drawings."
        ),
    ] = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Measure how much speed error, jitter, peak shift and dropout a data separator tolerates.

    Given a binding, the core runs the same trials in a simulator, next to the separators of its
    profile. A core that claims to equal a model (separator.model) must give the same numbers.

    Example: cellstep margin pal_dd --separator second_order --out margins

    Exit status: 0, 1 for a core that differs from the model it claims to equal, 2 for bad input,
    125 for a core that does not build or run.
    """
    from rich.console import Console

    from refmodel.margin.files import margin_files
    from refmodel.margin.subject import Model, Subject
    from refmodel.margin.sweep import job_count, sweep
    from refmodel.margin.table import table
    from refmodel.report.progress import Progress
    from refmodel.report.whole_folder import WholeFolder
    from refmodel.separator.choose import NAMES

    profile, binding = _given(given)
    claimed = binding.separator.model if binding is not None else None
    names = list(NAMES) if separator is Separators.all else [separator.value]
    names += [claimed] if claimed is not None and claimed not in names else []
    models: list[Subject] = [Model.of(profile, name) for name in names]
    if points is None:
        points = MODEL_POINTS if binding is None else CORE_POINTS
    folder = WholeFolder(out) if out else None
    with ExitStack() as stack:
        if folder is not None:
            stack.enter_context(folder)
        cores = [_core(binding, profile, sim, seed)] if binding is not None else []
        subjects = [*models, *cores]
        total = job_count(profile, subjects, seed, points)
        for core in cores:
            stack.enter_context(core)
        with Progress(Console(stderr=True)) as progress:
            tried = count(1)
            result = sweep(
                profile,
                subjects,
                seed,
                points,
                done=lambda: progress.say(f"margins: {next(tried)} of {total} trials done"),
            )
        files = folder.put(margin_files(result), "margin-*.svg") if folder is not None else []
    same, verdict = True, f"margins of {', '.join(s.name for s in subjects)} at {result.profile}"
    if claimed is not None:
        same = result.of(cores[0].name).same_as(result.of(claimed))
        says = "gives the same numbers as" if same else "differs from"
        verdict = f"{cores[0].name} {says} the model it claims to equal, {claimed}"

    def show() -> None:
        Console().print(table(result))
        if claimed is not None:
            typer.echo(f"\n{verdict}")

    report(
        quiet,
        as_json,
        full=show,
        line=lambda: verdict,
        data=lambda: json.dumps(result.as_json(), indent=1),
    )
    if out is not None:
        say_wrote(out, ", ".join(files))
    raise typer.Exit(EXIT_AGREE if same else EXIT_MISMATCH)


def _given(name: str) -> tuple[Profile, Binding | None]:
    """Return the profile of that name or file, or a binding and its profile."""
    from refmodel.profile import load_profile

    if names_profile(name):
        return load_profile(name), None
    from testbenches.binding.load import load_binding

    binding = load_binding(Path(name))
    return binding.load_profile().on_one_clock(), binding  # the clock its core is driven with


def _core(binding: Binding, profile: Profile, sim: Simulator | None, seed: int) -> CoreSubject:
    """Return the binding's core in the simulator asked for, or in the fastest there is."""
    from testbenches.toolchain import simulators
    from testbenches.trials import CoreSubject

    names = simulators([sim.value] if sim is not None else [])
    return CoreSubject(binding, profile, names[-1], seed)
