"""How a command tells what it found: in full, in the verdict's line, or as JSON for programs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

import typer

from refmodel.ground.errors import UserError
from refmodel.ground.text import printable

OTHER = {"quiet": "as_json", "as_json": "quiet"}


def _alone(context: typer.Context, parameter: typer.CallbackParam, value: bool) -> bool:
    """Return the option; raise UserError when the other form is asked for, too."""
    if value and context.params.get(OTHER[parameter.name or ""]):
        raise UserError("--quiet: excludes --json; give one of the two")
    return value


Quiet = Annotated[
    bool,
    typer.Option("--quiet", callback=_alone, help="Print only the line of the verdict."),
]
AsJson = Annotated[
    bool,
    typer.Option("--json", callback=_alone, help="Print the result as JSON, and nothing else."),
]


def report(
    quiet: bool,
    as_json: bool,
    *,
    full: Callable[[], object],
    line: Callable[[], str],
    data: Callable[[], str],
) -> None:
    """Tell what was found on standard output in the form asked for.

    `full` prints all of it, `line` is the verdict and what it rests on, `data` the JSON text.
    """
    if as_json:
        typer.echo(data().rstrip("\n"))
    elif quiet:
        typer.echo(printable(line()))
    else:
        full()
