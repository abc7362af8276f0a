"""A bar that shows how much of a capture has been read."""

from __future__ import annotations

from pathlib import Path
from types import TracebackType

from rich.console import Console
from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn, TransferSpeedColumn


class ReadBar:
    """Shows bytes read, of how many where the file has a length; silent off a terminal."""

    def __init__(self, console: Console, path: Path) -> None:
        total = path.stat().st_size if path.is_file() else None
        self._bar = Progress(
            TextColumn("reading"),
            BarColumn(),
            DownloadColumn(),
            TransferSpeedColumn(),
            console=console,
            transient=True,
            disable=not console.is_terminal,
        )
        self._task = self._bar.add_task("read", total=total)

    def read(self, count: int) -> None:
        """Take how many bytes have been read so far."""
        self._bar.update(self._task, completed=count)

    def __enter__(self) -> ReadBar:
        """Show the bar."""
        self._bar.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Take the bar away."""
        self._bar.stop()
