"""`cellstep lesson`: pages to learn the register from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from refmodel.cli.wrote import say_wrote


def lesson_command(
    name: Annotated[
        str | None,
        typer.Argument(metavar="NAME", help="A lesson, or all; without it, a list."),
    ] = None,
    out: Annotated[Path, typer.Option(metavar="FOLDER", help="Folder for the pages.")] = Path(
        "cellstep-out/lessons"
    ),
) -> None:
    """Write lessons: pages with one idea each, a question to answer first, and sliders.

    Example: cellstep lesson all --out lessons

    Exit status: 0, 2 for bad input.
    """
    from refmodel.ground.errors import cannot_write
    from refmodel.lessons.catalogue import INDEX, MAKERS, TITLES, index_page, lesson_page, names_of
    from refmodel.report.atomic import write_text

    if name is None:
        for short, title in TITLES.items():
            typer.echo(f"{short:<12} {title}")
        typer.echo("\ncellstep lesson NAME writes one as a page, cellstep lesson all writes all")
        return
    chosen = names_of(name)
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise cannot_write("--out", out, error) from None
    for short in chosen:
        write_text(out / f"{short}.html", lesson_page(short))
        say_wrote(out / f"{short}.html", TITLES[short])
    if chosen == list(MAKERS):
        write_text(out / INDEX, index_page(chosen))
        say_wrote(out / INDEX, "all lessons: begin here")
