"""Folders for work under way, held while their process lives, and swept when it was killed."""

from __future__ import annotations

import fcntl
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

HELD = ".held"  # a file in such a folder, locked by the process that made it
_NEW = ".held-new"


@contextmanager
def scratch(prefix: str, inside: Path | None = None) -> Iterator[Path]:
    """Make a folder for work under way; it goes at the end, however the work ends.

    What processes that were killed have left beside it is swept. Raises OSError when there is no
    place for it.
    """
    sweep(prefix, inside)
    folder = Path(tempfile.mkdtemp(prefix=prefix, dir=inside))
    try:
        with (folder / _NEW).open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            (folder / _NEW).rename(folder / HELD)  # locked before anyone can look
            yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def sweep(prefix: str, inside: Path | None = None) -> None:
    """Remove the folders of that prefix whose process is gone; what cannot be removed stays."""
    for held in Path(inside or tempfile.gettempdir()).glob(f"{prefix}*/{HELD}"):
        with suppress(OSError), held.open("r+") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            shutil.rmtree(held.parent, ignore_errors=True)
