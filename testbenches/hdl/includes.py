"""What a message of the reader does not say: where a missing file lies, what a file leaves on."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from pathlib import Path, PurePosixPath

from refmodel.ground.errors import UserError

MISSING = re.compile(r"'([^']+)': No such file")
UNKNOWN = re.compile(r"unknown module '([^']+)'")
KEYWORDS = re.compile(r"//[^\n]*|/\*.*?\*/|`(begin|end)_keywords\b", re.S)
MOST = 5000  # files and folders looked at
NAMED = "cellstep bind --include {0}, or core.include_dirs of the binding"


def shown_path(path: Path) -> Path:
    """Return the path as a user in the current folder would write it."""
    here = Path.cwd()
    return path.relative_to(here) if path.is_relative_to(here) else path


def refuse_odd_paths(paths: Iterable[Path]) -> None:
    """Raise UserError for a path that no simulator could be told: no UTF-8 text, a quote in it."""
    for path in paths:
        if '"' in str(path.absolute()):
            raise UserError(f"{path.absolute()}: no simulator takes a quote in a path; rename it")
        try:
            str(path).encode()
        except UnicodeEncodeError:
            raise UserError(f"{shown_path(path)}: the path is not UTF-8 text; rename it") from None


def hints(messages: Sequence[str], sources: Sequence[Path]) -> Iterator[str]:
    """Yield what may be behind the messages, from the files that were read, in their order."""
    yield from _include_hints(messages, sources)
    yield from _module_hints(messages)
    yield from _keyword_hints(sources)


def _include_hints(messages: Iterable[str], sources: Iterable[Path]) -> Iterator[str]:
    """Yield for each included file that messages miss the option that names its folder.

    It is looked for around the sources: in the folder above each, and all below that.
    """
    names = dict.fromkeys(name for text in messages for name in MISSING.findall(text))
    roots = dict.fromkeys(source.absolute().parent.parent for source in sources)
    for name in names:
        found = next((folder for root in roots for folder in _folders_with(name, root)), None)
        if found is None:
            yield f"name the folder '{name}' is in: {NAMED.format('FOLDER')}"
        else:
            folder = shown_path(found)
            yield f"'{name}' lies in {folder}: {NAMED.format(folder)}"


def _module_hints(messages: Iterable[str]) -> Iterator[str]:
    """Yield what to do about modules that are not among the sources."""
    names = dict.fromkeys(name for text in messages for name in UNKNOWN.findall(text))
    if names:
        told = ", ".join(map(repr, names))
        yield f"module {told} is in none of the given files; give its file, too"


def _keyword_hints(sources: Iterable[Path]) -> Iterator[str]:
    """Yield for each file that leaves other keywords on for those behind it what to add."""
    for source in sources:
        try:
            text = source.read_text(errors="replace")
        except OSError as error:
            yield f"{shown_path(source)}: cannot be read: {error.strerror}"
            continue
        open_at: list[int] = []
        for found in KEYWORDS.finditer(text):
            if found[1] == "begin":
                open_at.append(text.count("\n", 0, found.start()) + 1)
            elif found[1] == "end" and open_at:
                open_at.pop()
        if open_at:
            place = f"{shown_path(source)}:{open_at[0]}"
            yield f"{place}: `begin_keywords also holds for the files after it; add `end_keywords"


def _folders_with(name: str, root: Path) -> Iterator[Path]:
    """Yield the folders below one from which a file can be included by that name."""
    wanted = PurePosixPath(name).parts
    try:
        for path in islice(root.rglob("*"), MOST):
            if path.parts[-len(wanted) :] == wanted and path.is_file():
                yield path.parents[len(wanted) - 1]
    except OSError:
        return
