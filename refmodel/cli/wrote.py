"""Says which files a command has written."""

from __future__ import annotations

from pathlib import Path

import typer


def say_wrote(path: Path, what: str) -> None:
    """Say on stderr that a file or folder is written, and what it is; stdout may carry data."""
    typer.echo(f"wrote {path} ({what})", err=True)
