"""`cellstep history`: how recorded runs went on, and the first that was bad."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from typing import Annotated

import typer

from refmodel.cli.options import HistoryFile
from refmodel.cli.reporting import AsJson, Quiet, report
from refmodel.cli.wrote import say_wrote


def history_command(
    binding: Annotated[
        str, typer.Argument(metavar="[BINDING]", help="Only the runs of this binding.")
    ] = "",
    history: HistoryFile = None,
    last: Annotated[
        int, typer.Option("--last", metavar="N", min=1, help="How many runs of each to show.")
    ] = 20,
    merge: Annotated[
        list[Path] | None,
        typer.Option(
            "--merge", metavar="FILE", help="Add the runs of another history; may be repeated."
        ),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a page with all runs.")
    ] = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Show the runs that hunt, mutate and run have recorded, and when a core went bad.

    Example: cellstep history binding.yaml --history runs.sqlite --out history.html

    Exit status: 0, also when the last run was bad; 2 for a file that is not there.
    """
    from refmodel.ground.errors import UserError
    from refmodel.report.atomic import write_text
    from refmodel.report.history import History, refuse_other_files
    from refmodel.report.numbers import counted
    from refmodel.report.trend import lines, page, to_json

    if history is None:
        raise UserError("--history FILE is missing; CELLSTEP_HISTORY can name it for all commands")
    for path in merge or [history]:
        if not path.exists():
            raise UserError(f"{path}: no such file; runs with --history FILE begin one")
        refuse_other_files(path, "--merge" if merge else "--history")
    with closing(History(history, _say)) as store:
        for path in merge or []:
            with closing(History(path, _say)) as other:
                _say(f"{path}: {counted(store.merge(other), 'run')} added")
        runs = store.runs(str(Path(binding).resolve()) if binding else "")
    text = list(lines(runs, last)) or ["no run is recorded"]
    report(
        quiet,
        as_json,
        full=lambda: typer.echo("\n".join(text)),
        line=lambda: f"{counted(len(runs), 'run')} recorded" if runs else text[0],
        data=lambda: to_json(runs),
    )
    if out is not None:
        write_text(out, page(runs))
        say_wrote(out, "a page with all runs")


def _say(text: str) -> None:
    typer.echo(text, err=True)
