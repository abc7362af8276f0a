"""The files of a core that a binding names, and the faults of those it has not."""

from __future__ import annotations

import os
from glob import glob
from pathlib import Path

from refmodel.ground.errors import InputError
from testbenches.binding.schema import Binding
from testbenches.hdl.compile_order import packages_first
from testbenches.hdl.file_lists import sources_among
from testbenches.hdl.includes import shown_path

Fault = tuple[tuple[str | int, ...], str]  # key, message


def source_files(binding: Binding) -> tuple[list[Path], list[Path]]:
    """Return the core's files, each once and in order, and its include folders.

    Raises InputError for a pattern that matches no file and a folder that is not there.
    """
    folder = binding.folder.absolute()
    try:
        os.stat(folder)
    except OSError as error:
        why = f"the folder's path of {len(str(folder))} characters cannot be used: {error.strerror}"
        raise failed(binding, [(("core", "sources"), why)]) from None
    files: dict[Path, None] = {}
    faults: list[Fault] = []
    for n, pattern in enumerate(binding.core.sources):
        try:
            found = matching_files(folder, pattern)
        except RecursionError:
            message = f"'{pattern}' goes through too many folders, each in the other"
            faults.append((("core", "sources", n), message))
            continue
        files.update(dict.fromkeys(found))
        if not found:
            message = f"'{pattern}' is not a file in {shown_path(folder)}"
            faults.append((("core", "sources", n), message))
    folders = [folder / name for name in binding.core.include_dirs]
    for n, name in enumerate(binding.core.include_dirs):
        if not os.path.isdir(folders[n]):
            message = f"'{name}' is not a folder in {shown_path(folder)}"
            faults.append((("core", "include_dirs", n), message))
    if faults:
        raise failed(binding, faults)
    return list(files), folders


def matching_files(folder: Path, pattern: str) -> list[Path]:
    """Return the files a path or glob names, packages first; none for what no file can be called.

    Warns of what a glob names that is called like a source, and is not a file.
    """
    try:
        if (folder / pattern).is_file():
            return [folder / pattern]
        found = (folder / name for name in glob(pattern, root_dir=folder, recursive=True))
        return packages_first(sources_among(sorted(found)))
    except (OSError, ValueError):
        return []


def failed(binding: Binding, faults: list[Fault]) -> InputError:
    """Return the faults of a binding as an error, in the order of its lines."""
    problems = [binding.document.problem(key, message) for key, message in faults]
    return InputError(sorted(problems, key=lambda problem: (problem.line, problem.column)))
