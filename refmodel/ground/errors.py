"""Errors a user can act on: each names the place, the key and the value, and says what is right."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

EXIT_AGREE = 0
"""All is well: core and model agree, or what was asked for was done."""
EXIT_MISMATCH = 1
"""A mismatch, or whatever else the command looks for, was found."""
EXIT_BAD_INPUT = 2
"""Something you gave is wrong, or nothing was compared; the message names it."""
EXIT_CANNOT_RUN = 125
"""The core does not build or simulate, which `git bisect run` skips; or Cellstep has an error."""


class UserError(Exception):
    """Something the user gave is wrong. `str(error)` is what they read: no traceback follows."""

    exit_status = EXIT_BAD_INPUT


class CannotRun(UserError):
    """The core would not build, or the simulator would not run it to the end."""

    exit_status = EXIT_CANNOT_RUN


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault in an input file. `line` and `column` count from 1; 0 means the whole file."""

    file: Path
    line: int
    column: int
    key: str
    message: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}" if self.line else str(self.file)
        return f"{place}: {self.key}: {self.message}" if self.key else f"{place}: {self.message}"


class InputError(UserError):
    """Every fault found in an input file, reported together."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))

    def __reduce__(self) -> tuple[type[InputError], tuple[tuple[Problem, ...]]]:
        """Return what makes it anew in another process: its problems, not their text."""
        return type(self), (self.problems,)


@contextmanager
def reading(file: Path) -> Iterator[None]:
    """Put the file's name in front of what is found wrong in what it says, if it is not there."""
    try:
        yield
    except UserError as error:
        text = in_file(file, str(error))
        if isinstance(error, CannotRun) or text == str(error):
            raise
        raise UserError(text) from None


def in_file(file: Path, message: str) -> str:
    """Return a message with the file's name in front, unless it tells of the file already."""
    return message if str(file) in message else f"{file}: {message}"


def cannot_write(option: str, path: Path, error: OSError) -> UserError:
    """Return the error for what the user gave with `option` as a place of results."""
    return UserError(
        f"{option} {path}: cannot be written: {error.strerror}; give a place that can be written"
    )


def near(name: object, known: Iterable[str]) -> str:
    """Return `; did you mean 'x'?` for the known name nearest to `name`, or what there is."""
    names = sorted(known)
    close = difflib.get_close_matches(str(name), names, n=1, cutoff=0.6)
    if close:
        return f"; did you mean '{close[0]}'?"
    if not names:
        return ""
    shown = ", ".join(names[:12]) + (", ..." if len(names) > 12 else "")
    return f"; known: {shown}"
