"""One file written whole or not at all: under another name, then renamed."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import IO

from refmodel.ground.errors import cannot_write

Write = Callable[[IO[str]], None]


def write_whole(path: Path, write: Write, option: str = "--out") -> None:
    """Write one file under another name and rename it when whole; UserError if it cannot.

    `option` is what the user gave the path with.
    What is there and no plain file, such as /dev/stdout, is written to as it is.
    """
    try:
        if path.exists() and not path.is_file():
            with path.open("w", encoding="utf-8", newline="\n") as file:
                write(file)
            return
        with tempfile.TemporaryDirectory(prefix=".new-", dir=path.parent) as folder:
            new = Path(folder) / "whole"
            with new.open("w", encoding="utf-8", newline="\n") as file:
                write(file)
            new.replace(path)
    except (FileNotFoundError, NotADirectoryError, IsADirectoryError, PermissionError) as error:
        raise cannot_write(option, path, error) from None
    except OSError as error:  # of a write, which does not know its file: a full disk
        error.filename = error.filename or str(path)
        raise


def write_text(path: Path, text: str, option: str = "--out") -> None:
    """Write a text as `write_whole` does."""

    def put(file: IO[str]) -> None:
        file.write(text)

    write_whole(path, put, option)


def write_bytes(path: Path, content: bytes, option: str = "--out") -> None:
    """Write a file of bytes as `write_whole` does."""

    def put(file: IO[str]) -> None:
        file.buffer.write(content)  # type: ignore[attr-defined]

    write_whole(path, put, option)
