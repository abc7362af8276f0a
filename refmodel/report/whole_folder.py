"""A folder of results: files are written beside the old ones and renamed when all are whole."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import Self

from refmodel.ground.errors import UserError, cannot_write
from refmodel.ground.scratch import scratch
from refmodel.report.atomic import Write

Content = bytes | str | Write
NEW = ".new-"


class WholeFolder:
    """Takes the results of one command. Enter it before anything runs: it finds out if it can.

    Until every file is whole, whatever the folder held stays as it was.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._made: list[Path] = []
        self._stack = ExitStack()

    def __enter__(self) -> Self:
        """Make the folder, and one inside it for what is not whole yet; UserError if it cannot."""
        self._made = [p for p in (self._folder, *self._folder.parents) if not p.exists()]
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            self._new = self._stack.enter_context(scratch(NEW, self._folder))
        except OSError as error:
            raise self._failed(self._folder, error) from None
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Remove what is not whole, and the folders that were made for nothing."""
        self._stack.close()
        for folder in self._made:
            if not folder.is_dir() or any(folder.iterdir()):
                break
            folder.rmdir()

    def put(self, files: Iterable[tuple[str, Content]], stale: str = "") -> list[str]:
        """Write every file, then put all in place of the old ones; return their names.

        Old files that match the pattern `stale` go. Raises UserError, before an old file is
        touched, for a name that cannot be written.
        """
        names = []
        for name, content in files:
            self._write(name, content)
            names.append(name)
        for name in names:
            if (self._folder / name).is_dir():
                message = "is a folder; a file of results goes there"
                raise UserError(f"--out {self._folder / name}: {message}")
        for name in names:
            (self._new / name).replace(self._folder / name)
        kept = {self._folder / name for name in names}
        for old in set(self._folder.glob(stale) if stale else ()) - kept:
            old.unlink()
        return names

    def _write(self, name: str, content: Content) -> None:
        path = self._new / name
        if isinstance(content, bytes):
            path.write_bytes(content)
            return
        with path.open("w", encoding="utf-8", errors="replace", newline="\n") as file:
            if isinstance(content, str):
                file.write(content)
            else:
                content(file)

    def _failed(self, path: Path, error: OSError) -> UserError:
        return cannot_write("--out", path, error)
