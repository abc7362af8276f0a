"""Options several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from refmodel.ground.choices import chosen_policies
from refmodel.ground.errors import UserError


def _natural(seed: int) -> int:
    """Return the seed; raise UserError below 0."""
    if seed < 0:
        raise UserError(f"--seed {seed}: should be 0 or more")
    return seed


__all__ = ["HistoryFile", "Policies", "ProfileName", "Programs", "Seed", "chosen_policies"]

Seed = Annotated[
    int,
    typer.Option("--seed", metavar="N", callback=_natural, help="Seed of all random choices."),
]
ProfileName = Annotated[
    str, typer.Option("--profile", metavar="PROFILE", help="A shipped profile, or a file.")
]


def _run_now(files: list[Path] | None) -> list[Path] | None:
    """Take the files' host programs, before a scenario asks for one."""
    if files:
        from refmodel.host.catalogue import use_programs

        for path in files:
            use_programs(path)
    return files


def _looked_at(path: Path | None) -> Path | None:
    """Return a history's file, before anything runs; UserError for one that is none."""
    if path is not None:
        from refmodel.report.history import refuse_other_files

        refuse_other_files(path)
    return path


Programs = Annotated[
    list[Path] | None,
    typer.Option(
        "--programs",
        metavar="FILE",
        callback=_run_now,
        help="Python file with host programs of your own; may be repeated.",
    ),
]
Policies = Annotated[
    list[str] | None,
    typer.Option(
        "--policy", metavar="NAME=VALUE", help="Change a policy of the model; may be repeated."
    ),
]
HistoryFile = Annotated[
    Path | None,
    typer.Option(
        "--history",
        metavar="FILE",
        envvar="CELLSTEP_HISTORY",
        callback=_looked_at,
        help="File that records runs; created if missing.",
    ),
]
