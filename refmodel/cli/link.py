"""`cellstep link`: which signals of a drive need a pin, and which may go through a serial link."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from refmodel.cli.reporting import AsJson, Quiet, report
from refmodel.cli.wrote import say_wrote
from refmodel.ground.errors import EXIT_BAD_INPUT, UserError
from refmodel.ground.numbers import counted

if TYPE_CHECKING:
    from refmodel.drive.plan_search import Plan


def link_command(
    given: Annotated[
        str, typer.Argument(metavar="PLAN", help="A plan's YAML file, or seven_pins, which ships.")
    ],
    quiet: Quiet = False,
    as_json: AsJson = False,
    svg: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Also draw the plan to this SVG file.")
    ] = None,
    picture: Annotated[Path | None, typer.Option(hidden=True)] = None,
) -> None:
    """Plan the pins of a board: which signals need a pin, and how late each of the others arrives.

    The plan names the free pins, the signals with their deadlines and their order, and a serial
    port expander with two banks of eight pins. The best plan is found by exact search.
    docs/drives.md describes the file.

    Example: cellstep link seven_pins --svg plan.svg

    Exit status: 0 with a plan, 2 if none is possible or the file is wrong.
    """
    from refmodel.drive.plan_file import load_plan
    from refmodel.drive.plan_report import plan_json
    from refmodel.drive.plan_search import find_plan

    if picture is not None:
        raise UserError("--picture: is now called --svg")
    plan = find_plan(load_plan(given))
    if as_json or not plan.refused:
        report(
            quiet,
            as_json,
            full=lambda: _print_table(plan),
            line=lambda: _line(plan),
            data=lambda: json.dumps(plan_json(plan), indent=1),
        )
    if plan.refused:
        typer.echo(f"{given}: no plan is possible:", err=True)
        for line in plan.refused:
            typer.echo(line, err=True)
        raise typer.Exit(EXIT_BAD_INPUT)
    if svg is not None:
        _draw(plan, svg)


def _line(plan: Plan) -> str:
    """Return the plan in one line."""
    linked = "no link" if plan.times is None else "a link for the others"
    return f"plan {plan.file.name}: {counted(len(plan.direct), 'signal')} on pins, {linked}"


def _print_table(plan: Plan) -> None:
    from rich.console import Console

    from refmodel.drive.plan_report import plan_notes, plan_table

    Console().print(plan_table(plan))
    for line in plan_notes(plan):
        typer.echo(line)


def _draw(plan: Plan, path: Path) -> None:
    from refmodel.drive.plan_report import plan_picture
    from refmodel.report.atomic import write_text

    write_text(path, plan_picture(plan).decode(), "--svg")
    say_wrote(path, "picture of the plan")
