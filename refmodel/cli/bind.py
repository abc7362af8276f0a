"""`cellstep bind`: drafts a binding from a core's source."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from refmodel.cli.wrote import say_wrote
from refmodel.ground.errors import UserError


def bind_command(
    sources: Annotated[
        list[Path],
        typer.Argument(
            metavar="FILE", help="The core's files, Verilog or VHDL; folders; .f or .eda.yml lists."
        ),
    ],
    top: Annotated[
        str | None,
        typer.Option(
            metavar="MODULE",
            help="The core's top module; needed if several modules could be it.",
        ),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write to this file, not to the terminal.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite the file of --out.")] = False,
    include: Annotated[
        list[Path] | None,
        typer.Option(metavar="FOLDER", help="A folder with included files; may be repeated."),
    ] = None,
    define: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=VALUE", help="A macro, or its name alone; may be repeated."),
    ] = None,
) -> None:
    """Draft a binding: it says which port of a core plays which role, with a comment on each guess.

    Example: cellstep bind rtl/*.v --top disk_regs --out binding.yaml

    Ports are guessed from the source and from their names. Lines marked TODO are for you to
    fill in. Exit status: 0, 2 for bad arguments, 125 for a core that does not compile.
    """
    from refmodel.report.atomic import write_text
    from testbenches.drafting.draft import draft

    if out is not None and out.exists() and not force:
        raise UserError(f"--out {out}: exists already; --force overwrites it")
    for path in include or []:
        if not path.is_dir():
            raise UserError(f"--include {path}: no such folder")
    macros = dict(_macro(text) for text in define or [])
    folder = out.parent if out is not None else None
    text = draft(sources, top, folder, include or [], macros)
    if out is None:
        typer.echo(text, nl=False)
        return
    write_text(out, text)
    todo = text.count("# TODO")
    say_wrote(out, f"look at every line, {todo} of them marked TODO")


def _macro(text: str) -> tuple[str, str | None]:
    """Return name and value of NAME=VALUE, or of NAME."""
    name, equals, value = text.partition("=")
    if not name.isidentifier():
        raise UserError(f"--define {text}: should be NAME or NAME=VALUE")
    return name, value if equals else None
