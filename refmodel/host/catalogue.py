"""Every host program there is: those that ship, and those of Python files the user named."""

from __future__ import annotations

import importlib.util
import inspect
import os
import traceback
from collections.abc import Iterable
from pathlib import Path

from refmodel.ground.content import content_of
from refmodel.ground.errors import UserError
from refmodel.host.aimed_programs import AIMED_PROGRAMS
from refmodel.host.drive_programs import DRIVE_PROGRAMS
from refmodel.host.layout_programs import LAYOUT_PROGRAMS
from refmodel.host.other_recordings import OTHER_RECORDINGS
from refmodel.host.program import ProgramMaker
from refmodel.host.programs import PROGRAMS
from refmodel.host.protection_programs import PROTECTION_PROGRAMS
from refmodel.host.sector_transfer import SECTOR_PROGRAMS
from refmodel.host.transfer_programs import TRANSFER_PROGRAMS

LARGEST = 1 << 24  # bytes of a file of programs
FILES = "CELLSTEP_PROGRAMS"  # the user's files: a simulator's process inherits it
SHIPPED = (
    PROGRAMS,
    PROTECTION_PROGRAMS,
    LAYOUT_PROGRAMS,
    TRANSFER_PROGRAMS,
    SECTOR_PROGRAMS,
    AIMED_PROGRAMS,
    OTHER_RECORDINGS,
    DRIVE_PROGRAMS,
)
_loaded: dict[str, dict[str, ProgramMaker]] = {}


def programs(files: Iterable[Path] = ()) -> dict[str, ProgramMaker]:
    """Return all programs by name; a user's own comes before a shipped one.

    `files` are more of the user's, which come first of all.
    """
    own: dict[str, ProgramMaker] = {}
    named = filter(None, os.environ.get(FILES, "").split(os.pathsep))
    for name in (*named, *(os.path.abspath(path) for path in files)):
        own |= _programs_of(name)
    shipped = {name: make for table in SHIPPED for name, make in table.items()}
    return {**shipped, **own}


def use_programs(path: Path) -> None:
    """Take every public generator function of a Python file as a host program.

    Raises UserError when the file cannot be run or holds none.
    """
    name = os.path.abspath(path)
    _programs_of(name)
    names = [n for n in os.environ.get(FILES, "").split(os.pathsep) if n and n != name]
    os.environ[FILES] = os.pathsep.join([*names, name])


def _line_of(name: str, error: Exception) -> int:
    """Return the line of a file at which running it failed; 1 if it failed before any."""
    if isinstance(error, SyntaxError) and error.filename == name:
        return error.lineno or 1
    frames = traceback.extract_tb(error.__traceback__)
    return next((f.lineno or 1 for f in reversed(frames) if f.filename == name), 1)


def _programs_of(name: str) -> dict[str, ProgramMaker]:
    """Return the programs of one file, run once a process."""
    if name not in _loaded:
        spec = importlib.util.spec_from_file_location(Path(name).stem, name)
        if spec is None or spec.loader is None:
            raise UserError(f"{name}: is not a Python file, whose name ends in .py")
        content_of(Path(name), LARGEST)  # raises for what Python would read without end
        module = importlib.util.module_from_spec(spec)
        try:
            spec.loader.exec_module(module)
        except Exception as error:
            place = f"{name}:{_line_of(name, error)}"
            raise UserError(f"{place}: cannot be run: {type(error).__name__}: {error}") from None
        found = {
            n: f
            for n, f in vars(module).items()
            if inspect.isgeneratorfunction(f)
            and not n.startswith("_")
            and f.__module__ == module.__name__
        }
        if not found:
            raise UserError(f"{name}: holds no generator function, so no host program")
        _loaded[name] = found
    return _loaded[name]
