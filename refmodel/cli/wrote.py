"""Says which files a command has written."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from refmodel.ground.errors import EXIT_AGREE
from refmodel.ground.text import printable

if TYPE_CHECKING:
    from refmodel.report.whole_folder import Content, WholeFolder


PAGE = "report.html"


def say_wrote(path: Path, what: str) -> None:
    """Say on stderr that a file or folder is written, and what it is; stdout may carry data."""
    from refmodel.report.lines import folded, room_of_stream

    for line in folded(printable(f"wrote {path} ({what})"), room_of_stream(sys.stderr), "  "):
        typer.echo(line, err=True)


def write_and_show(
    folder: WholeFolder | None,
    out: Path | None,
    files: Callable[[], Iterable[tuple[str, Content]]],
    show: Callable[[], None],
    status: int = EXIT_AGREE,
    stale: str = "",
) -> None:
    """Write the results of a verdict and show it, whatever becomes of the writing.

    A verdict other than agreement keeps its exit status when its results cannot be written: that
    is reported on stderr. Otherwise what went wrong with them is raised once the verdict is shown.
    """
    names: list[str] = []
    failure: Exception | None = None
    try:
        if folder is not None:
            names = folder.put(files(), stale)
    except Exception as error:
        failure = error
    show()
    if failure is not None and status == EXIT_AGREE:
        raise failure
    if failure is not None:
        typer.echo(printable(f"the results are not written: {failure}"), err=True)
    elif out is not None:
        if PAGE in names:
            typer.echo(printable(f"page {out / PAGE}"), err=True)
        say_wrote(out, ", ".join(names))
