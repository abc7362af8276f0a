"""`cellstep protect`: tells whether a core passes the timing checks of protected disks."""

from __future__ import annotations

import json
import shlex
from contextlib import nullcontext
from dataclasses import asdict, replace
from pathlib import Path
from typing import Annotated

import typer

from refmodel.cli.options import Policies, chosen_policies
from refmodel.cli.reporting import AsJson, Quiet, report
from refmodel.cli.run import Simulators
from refmodel.cli.wrote import write_and_show
from refmodel.ground.errors import EXIT_AGREE, EXIT_MISMATCH, UserError
from refmodel.protect.check import Check


def protect_command(
    binding: Annotated[
        Path, typer.Argument(metavar="BINDING", help="The binding file of the core.")
    ],
    checks: Annotated[
        list[str] | None,
        typer.Option(
            "--check",
            metavar="CHECK",
            help="A check's name, number or file, by default all that ship; may be repeated.",
        ),
    ] = None,
    sim: Annotated[
        Simulators | None, typer.Option(help="Which simulators; by default all that are here.")
    ] = None,
    seed: Annotated[
        list[int] | None,
        typer.Option(metavar="N", help="Seed of all random choices; may be repeated."),
    ] = None,
    host_speed: Annotated[
        list[str] | None,
        typer.Option(metavar="HOST", help="slow, normal or fast, by default all; may be repeated."),
    ] = None,
    drive_speed: Annotated[
        list[float] | None,
        typer.Option(
            metavar="PERCENT",
            help="Drive speed error, by default -1.5, 0 and 1.5; may be repeated.",
        ),
    ] = None,
    every: Annotated[
        bool, typer.Option("--all-pairs", help="Run each host speed with each drive speed.")
    ] = False,
    programs: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="Python file with host programs; may be repeated."),
    ] = None,
    sensitivity: Annotated[
        bool, typer.Option("--sensitivity", help="Show how far each bit may be off; run no core.")
    ] = False,
    rates: Annotated[
        int | None,
        typer.Option(
            metavar="N",
            min=1,
            max=100_000,
            help="Judge N originals and N copies of each check on the model; run no core.",
        ),
    ] = None,
    policy: Policies = None,
    old_check: Annotated[list[str] | None, typer.Option("--class", hidden=True)] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER", help="Folder for report.html, protect.json, junit.xml and report.txt."
        ),
    ] = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Run the timing checks of protected disks: originals must be accepted, copies refused.

    Example: cellstep protect binding.yaml --check long_cells --sim verilator
    Example: cellstep protect binding.yaml --rates 400

    Exit status: 0 all verdicts right, 1 a wrong one, 2 bad input, 125 a core that does not build
    or run.
    """
    from rich.console import Console

    from refmodel.host.catalogue import use_programs
    from refmodel.protect.cases import DRIVE_SPEEDS, HOST_SPEEDS, cases
    from refmodel.protect.check import find_checks
    from refmodel.protect.files import matrix_data, matrix_files
    from refmodel.protect.text import show_matrix, summary
    from refmodel.report.progress import Progress
    from refmodel.report.whole_folder import WholeFolder
    from testbenches.protect import run_matrix
    from testbenches.suite import Options

    if old_check:
        raise UserError("--class: is now called --check")
    for path in programs or []:
        use_programs(path)
    policies = chosen_policies(policy)
    chosen = find_checks(checks or [])
    if sensitivity:
        _sensitivity(binding, chosen, policies, out, quiet, as_json)
        return
    if rates:
        raise typer.Exit(_rates(binding, chosen, policies, rates, quiet, as_json))
    wrong = [n for n in seed or [] if n < 0]
    if wrong:
        raise UserError(f"--seed {wrong[0]}: should be 0 or more")
    grid = cases(
        chosen, seed or [1], host_speed or list(HOST_SPEEDS), drive_speed or DRIVE_SPEEDS, every
    )
    options = Options(simulators=sim.names if sim else (), policies=policies)
    with WholeFolder(out) if out else nullcontext() as folder:
        with Progress(Console(stderr=True)) as progress:
            matrix = run_matrix(binding, grid, options, progress.say)
        matrix = replace(matrix, options=_given_again(policies, programs or []))

        def show() -> None:
            report(
                quiet,
                as_json,
                full=lambda: show_matrix(Console(), matrix),
                line=lambda: summary(matrix),
                data=lambda: json.dumps(matrix_data(matrix), indent=2),
            )

        files = lambda: matrix_files(matrix).items()  # noqa: E731
        write_and_show(folder, out, files, show, matrix.exit_status)
    raise typer.Exit(matrix.exit_status)


def _given_again(policies: dict[str, str], programs: list[Path]) -> str:
    """Return the options that bring a cell about again, besides those of the cell itself."""
    words = [f"--programs {shlex.quote(str(path))}" for path in programs]
    words += [f"--policy {shlex.quote(f'{name}={value}')}" for name, value in policies.items()]
    return " ".join(words)


def _rates(
    binding: Path,
    checks: list[Check],
    policies: dict[str, str],
    count: int,
    quiet: bool,
    as_json: bool,
) -> int:
    """Show how often the model judges each check wrongly; return the exit status."""
    from rich.console import Console

    from refmodel.protect.rates import rates
    from refmodel.protect.text import show_rates
    from refmodel.report.progress import Progress
    from testbenches.binding.load import load_binding

    profile = load_binding(binding).load_profile().with_policies(policies)
    with Progress(Console(stderr=True)) as progress:
        found = rates(checks, [profile], range(count), progress.say)
    skipped = {c.name: c.needs.missing(profile) for c in checks if c.needs.missing(profile)}
    if not found:
        raise UserError(f"no check applies to profile {profile.name}")
    wrong = sum(rate.wrong for rate in found)
    report(
        quiet,
        as_json,
        full=lambda: show_rates(Console(), found, skipped),
        line=lambda: f"{wrong} of {sum(rate.runs for rate in found)} verdicts of the model wrong",
        data=lambda: json.dumps([asdict(rate) for rate in found], indent=2),
    )
    return EXIT_MISMATCH if any(rate.wrong for rate in found) else EXIT_AGREE


def _sensitivity(
    binding: Path,
    checks: list[Check],
    policies: dict[str, str],
    out: Path | None,
    quiet: bool,
    as_json: bool,
) -> None:
    """Show the sensitivity table for the profile of a binding."""
    from rich.console import Console

    from refmodel.protect.files import sensitivity_files
    from refmodel.protect.sensitivity import table
    from refmodel.protect.text import show_sensitivity
    from refmodel.report.progress import Progress
    from refmodel.report.whole_folder import WholeFolder
    from testbenches.binding.load import load_binding

    profile = load_binding(binding).load_profile().with_policies(policies)
    with Progress(Console(stderr=True)) as progress:
        found = table(checks, profile, progress.say)
    with WholeFolder(out) if out else nullcontext() as folder:

        def show() -> None:
            report(
                quiet,
                as_json,
                full=lambda: show_sensitivity(Console(), found),
                line=lambda: f"{len(found)} limits found, how far each bit may be off",
                data=lambda: json.dumps([asdict(limit) for limit in found], indent=2),
            )

        write_and_show(folder, out, lambda: sensitivity_files(found).items(), show)
