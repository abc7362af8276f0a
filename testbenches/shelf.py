"""A shelf of the cache: things made from files, each kept only while it is whole and still right.

An entry is a folder that appears under its name when all of it is there, and is never changed. Its
seal holds a hash of what it is kept for, and of every file it was made from. Both are looked at
before an entry is used: one that was cut short, damaged or made from another text is made anew.
"""

from __future__ import annotations

import errno
import fcntl
import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

SEAL = "seal.json"
PART = ".part"  # of the entry under way: one at a time, under the lock
LOCK = ".lock"
ENOUGH = 4096  # bytes free on a disk that took all that was written
TRIES = 5  # times an entry is made while its sources change under the tools


@dataclass(frozen=True)
class Made:
    """What was made in a folder: the files to keep it for, and those it was made from.

    `absent` are places where a file would have been read if there had been one.
    """

    products: tuple[str, ...]
    read: tuple[Path, ...] = ()
    absent: tuple[Path, ...] = ()


class UnsettledError(Exception):
    """The sources changed each time an entry was made from them."""


class NoPlaceError(Exception):
    """The cache cannot be written, and does not hold what is asked for."""


class Shelf:
    """The entries that are made from one description, in a folder of their own."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def find(self) -> Path | None:
        """Return an entry that is whole and made from the files as they are now."""
        with suppress(OSError):
            for entry in sorted(self._folder.iterdir()):
                if not entry.name.startswith(".") and _is_right(entry):
                    return entry
        return None

    def get(self, make: Callable[[Path], Made], known: Iterable[Path] = ()) -> Path:
        """Return a right entry; if there is none, the one that `make` leaves in a folder.

        `known` are files that are read for certain. Raises NoPlaceError for a cache that cannot be
        written, OSError for a full disk, UnsettledError for sources that do not hold still.
        """
        entry = self.find()
        if entry is not None:
            return entry
        with self._alone():
            entry = self.find()  # another process may have made it meanwhile
            return entry if entry is not None else self._made(make, set(known))

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Hold the shelf's lock: one process at a time."""
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            lock = (self._folder / LOCK).open("w")
        except OSError as error:
            if error.errno in (errno.ENOSPC, errno.EDQUOT):
                raise
            raise NoPlaceError(str(error)) from error
        with lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield

    def _made(self, make: Callable[[Path], Made], known: set[Path]) -> Path:
        """Make an entry, again while the files it is made from change, or are not all known yet."""
        part = self._folder / PART
        for _ in range(TRIES):
            shutil.rmtree(part, ignore_errors=True)
            part.mkdir()
            before = {path: _stamp(path) for path in known}
            made = make(part)
            refuse_full(part)
            found = {*known, *made.read}
            if found == known and before == {path: _stamp(path) for path in known}:
                return self._kept(part, made)
            known = found
        raise UnsettledError

    def _kept(self, part: Path, made: Made) -> Path:
        """Seal what was made, and give it its name; what lay there under that name was no good."""
        sources = {str(path): file_hash(path) for path in sorted(made.read)}
        seal = {
            "products": {name: file_hash(part / name) for name in made.products},
            "read": sources,
            "absent": sorted(map(str, made.absent)),
        }
        text = json.dumps(seal)
        (part / SEAL).write_text(json.dumps({"hash": _hash(text.encode()), "of": text}))
        refuse_full(part)
        entry = self._folder / _hash(repr(sorted(sources.items())).encode())[:20]
        with suppress(FileNotFoundError):
            entry.rename(self._folder / ".old")  # who runs it has its files open
        shutil.rmtree(self._folder / ".old", ignore_errors=True)
        part.rename(entry)
        return entry


def refuse_full(folder: Path) -> None:
    """Raise OSError when a disk is full: what was written last may have been cut short."""
    if shutil.disk_usage(folder).free < ENOUGH:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(folder))


def _is_right(entry: Path) -> bool:
    """Return whether an entry is whole, and made from the files as they are."""
    try:
        outer = json.loads((entry / SEAL).read_text())
        if outer["hash"] != _hash(outer["of"].encode()):
            return False
        seal = json.loads(outer["of"])
        kept = {entry / name: value for name, value in seal["products"].items()}
        read = {Path(name): value for name, value in seal["read"].items()}
        if any(os.path.lexists(path) for path in seal["absent"]):
            return False
        return all(file_hash(path) == value for path, value in (kept | read).items())
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return False


def file_hash(path: Path) -> str:
    """Return the hash of a file's content; raises OSError when it cannot be read."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _stamp(path: Path) -> tuple[object, ...]:
    """Return what tells whether a file has been written since: content, and when and what it is."""
    try:
        seen = path.stat()
        return file_hash(path), seen.st_mtime_ns, seen.st_ino, seen.st_size
    except OSError as error:
        return (error.errno,)
