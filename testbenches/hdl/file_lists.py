"""What stands for a core's files: a folder, a list of files, or the list of another build tool.

A folder is searched for Verilog and VHDL. A list is a `.f` file as simulators take it, or the
`.eda.yml` that FuseSoC writes for Edalize (EDA Metadata, edalize.readthedocs.io, version 0.2).
"""

from __future__ import annotations

import os
import re
import shlex
import warnings
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from refmodel.ground.content import content_of
from refmodel.ground.errors import InputError, Problem, UserError
from testbenches.hdl.compile_order import packages_first

LARGEST = 1 << 24  # bytes of a list
SOURCES = (".v", ".sv", ".vhd", ".vhdl")
HEADERS = (".vh", ".svh")
EDAM = (".eda.yml", ".eda.yaml")
EDAM_VERSION = re.compile(r"0\.2(\.\d+)?")
EDAM_SOURCES = ("verilogSource", "systemVerilogSource", "vhdlSource")
Value = str | int | None


@dataclass
class FileList:
    """A core's files, and what else a list says of it. All paths are as good from here."""

    sources: list[Path] = field(default_factory=list)
    include_dirs: list[Path] = field(default_factory=list)
    defines: dict[str, Value] = field(default_factory=dict)
    parameters: dict[str, int | str] = field(default_factory=dict)
    top: str | None = None

    def add(self, other: FileList) -> None:
        """Take what another list has; what is there already stays."""
        self.sources += [path for path in other.sources if path not in self.sources]
        self.include_dirs += [d for d in other.include_dirs if d not in self.include_dirs]
        self.defines = {**other.defines, **self.defines}
        self.parameters = {**other.parameters, **self.parameters}
        self.top = self.top or other.top


def is_list(path: Path) -> bool:
    """Return whether a path stands for other files: a folder, or a list of them."""
    return path.suffix == ".f" or path.name.endswith(EDAM) or path.is_dir()


def read_list(path: Path) -> FileList:
    """Return what a folder or a list stands for; UserError, with the line, if it is no good."""
    if path.is_dir():
        return _folder(path)
    content = content_of(path, LARGEST)
    try:
        text = content.decode()
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        message = f"is not UTF-8 text: byte {content[error.start]:#x}"
        raise _fault(path, line, "", message) from None
    found = _edam(path, text) if path.name.endswith(EDAM) else _dot_f(path, text, (path,))
    if not found.sources:
        raise UserError(f"{path}: names no Verilog or VHDL file")
    return found


def _folder(folder: Path) -> FileList:
    """Return the sources below a folder, packages first; folders with headers are to include."""
    files = sorted(_files_below(folder))
    files = sources_among(files)
    found = FileList(packages_first([p for p in files if p.suffix.lower() in SOURCES]))
    headers = [p.parent for p in files if p.suffix.lower() in HEADERS]
    found.include_dirs = list(dict.fromkeys(headers))
    if not found.sources:
        raise UserError(f"{folder}: no Verilog or VHDL file in this folder")
    return found


def _files_below(folder: Path) -> Iterator[Path]:
    """Yield each plain file below a folder, however deep, and whatever is named like a source.

    Hidden files are left out, and links to folders are not followed. What cannot be listed, such
    as a path longer than the system takes, is left out, too.
    """
    folders = [folder]
    while folders:
        with suppress(OSError), os.scandir(folders.pop()) as entries:
            for entry in entries:
                if entry.name.startswith("."):
                    continue
                if entry.is_dir(follow_symlinks=False):
                    folders.append(Path(entry.path))
                if _is_plain(entry) or Path(entry.name).suffix.lower() in (*SOURCES, *HEADERS):
                    yield Path(entry.path)


def _is_plain(entry: os.DirEntry[str]) -> bool:
    """Return whether it is a file, also through a link; a link to itself is none."""
    with suppress(OSError):
        return entry.is_file()
    return False


class LeftOutWarning(UserWarning):
    """Something is named like a source and cannot be one."""


def sources_among(paths: Iterable[Path]) -> list[Path]:
    """Return the plain files; warn of what is named like a source or a header and is none."""
    files = []
    for path in paths:
        if os.path.isfile(path):
            files.append(path)
        elif path.suffix.lower() in (*SOURCES, *HEADERS):
            warnings.warn(f"{path}: {_why_left_out(path)}, and left out", LeftOutWarning, 2)
    return files


def _why_left_out(path: Path) -> str:
    """Say why a path cannot be a source."""
    if os.path.isdir(path):
        return "is a folder"
    return "is a link that leads nowhere" if path.is_symlink() else "is not a plain file"


def _dot_f(path: Path, text: str, within: tuple[Path, ...]) -> FileList:
    """Return what a `.f` file says; its paths are from its own folder."""
    found = FileList()
    words = iter(_words(path, text))
    for line, word in words:
        if word in ("-f", "-F"):
            inner = _place(path, _argument(path, line, word, words))
            if inner.resolve() in [p.resolve() for p in within]:
                raise _fault(path, line, word, f"'{inner}' lists itself")
            found.add(_dot_f(inner, _text(path, line, inner), (*within, inner)))
        elif word in ("-v", "-y", "-I", "-D"):
            _take_option(path, found, word, _argument(path, line, word, words))
        elif word.startswith(("-I", "-D")):
            _take_option(path, found, word[:2], word[2:])
        elif word.startswith("+incdir+"):
            found.include_dirs += [_place(path, name) for name in word.split("+")[2:] if name]
        elif word.startswith("+define+"):
            found.defines |= dict(_macro(text) for text in word.split("+")[2:] if text)
        elif word.startswith(("-", "+")) and not word.startswith("+libext+"):
            message = "not known here; take it out, or give what it says in the binding"
            raise _fault(path, line, word, message)
        elif not word.startswith("+"):
            source = _place(path, word)
            if not source.is_file():
                raise _fault(path, line, word, "no such file")
            if source.suffix.lower() not in HEADERS:
                found.sources.append(source)
    return found


def _text(path: Path, line: int, inner: Path) -> str:
    try:
        return inner.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        raise _fault(path, line, "-f", f"'{inner}' cannot be read") from None


def _words(path: Path, text: str) -> Iterator[tuple[int, str]]:
    """Yield the words of a `.f` file with their lines; comments are left out."""
    text = re.sub(r"/\*.*?\*/", lambda m: "\n" * m[0].count("\n"), text, flags=re.DOTALL)
    for number, line in enumerate(text.splitlines(), 1):
        plain = re.sub(r"(^|\s)(//|#).*", "", line)
        try:
            for word in shlex.split(plain):
                yield number, os.path.expandvars(word)
        except ValueError as error:
            raise _fault(path, number, plain.strip(), str(error).lower()) from None


def _argument(path: Path, line: int, word: str, words: Iterator[tuple[int, str]]) -> str:
    found = next(words, None)
    if found is None:
        raise _fault(path, line, word, "its argument is missing")
    return found[1]


def _take_option(path: Path, found: FileList, option: str, value: str) -> None:
    """Take a library file or folder, an include folder, or a macro."""
    if option == "-D":
        found.defines |= dict([_macro(value)])
    elif option == "-I":
        found.include_dirs.append(_place(path, value))
    elif option == "-y":
        found.add(_folder(_place(path, value)))
    else:
        found.sources.append(_place(path, value))


def _macro(text: str) -> tuple[str, Value]:
    name, equals, value = text.partition("=")
    return name, value if equals else None


def _place(path: Path, name: str) -> Path:
    return path.parent / name


def _fault(path: Path, line: int, key: str, message: str) -> InputError:
    return InputError([Problem(path, line, 1, key, message)])


def _not_plain(error: Exception) -> str:
    """Say why a text is no YAML of plain data."""
    if isinstance(error, yaml.constructor.ConstructorError):
        return "not plain YAML: tags, and keys that are no text, are not taken"
    return f"not valid YAML: {getattr(error, 'problem', 'a number is too large')}"


def _edam(path: Path, text: str) -> FileList:
    """Return what an EDA Metadata file says; its paths are from its own folder."""
    try:
        data = yaml.safe_load(text)
        node = yaml.compose(text, yaml.SafeLoader)
    except RecursionError:
        raise UserError(f"{path}: nested too deeply") from None
    except (yaml.YAMLError, ValueError) as error:  # ValueError: a number of thousands of digits
        mark = getattr(error, "problem_mark", None)
        line = mark.line + 1 if mark else 0
        raise _fault(path, line, "", _not_plain(error)) from None
    if not isinstance(data, dict):
        raise _fault(path, 1, "", "no EDA Metadata: should be a mapping with the key 'files'")
    _refuse_twice(path, node)
    lines = {k.value: k.start_mark.line + 1 for k, _ in node.value}  # type: ignore[union-attr]
    version = str(data.get("version", "0.2"))
    if not EDAM_VERSION.fullmatch(version):
        message = f"'{version}' is not known here; this reads 0.2, as Edalize writes it"
        raise _fault(path, lines["version"], "version", message)
    files = data.get("files", [])
    if not isinstance(files, list) or not all(isinstance(f, dict) and "name" in f for f in files):
        message = "should be a list of mappings with 'name' and 'file_type'"
        raise _fault(path, lines.get("files", 1), "files", message)
    found = FileList(top=_first(data.get("toplevel")))
    for entry in files:
        _take_file(path, lines["files"], found, entry)
    parameters = data.get("parameters") or {}
    for name, entry in parameters.items() if isinstance(parameters, dict) else ():
        _take_parameter(found, str(name), entry)
    return found


def _refuse_twice(path: Path, node: yaml.Node | None) -> None:
    """Raise InputError for a key that stands twice in its mapping, or comes from a merge."""
    if isinstance(node, yaml.SequenceNode):
        for item in node.value:
            _refuse_twice(path, item)
    if not isinstance(node, yaml.MappingNode):
        return
    seen = set()
    for name, value in node.value:
        line = name.start_mark.line + 1
        if name.tag == "tag:yaml.org,2002:merge":
            raise _fault(path, line, name.value, "a merge is not taken; write the keys themselves")
        if name.value in seen:
            raise _fault(path, line, name.value, "a second key of this name; remove one")
        seen.add(name.value)
        _refuse_twice(path, value)


def _take_file(path: Path, line: int, found: FileList, entry: dict[str, Any]) -> None:
    """Take one file of EDA Metadata: a source, or where headers lie."""
    kind, name = str(entry.get("file_type", "")), str(entry["name"])
    if not kind.startswith(EDAM_SOURCES):
        return
    place = _place(path, name)
    if entry.get("is_include_file"):
        folder = _place(path, str(entry.get("include_path") or os.path.dirname(name) or "."))
        if folder not in found.include_dirs:
            found.include_dirs.append(folder)
    elif not place.is_file():
        raise _fault(path, line, "files", f"'{name}': no such file")
    else:
        found.sources.append(place)


def _take_parameter(found: FileList, name: str, entry: Any) -> None:  # noqa: ANN401 - from a file
    """Take one parameter of EDA Metadata, if it has a value."""
    if not isinstance(entry, dict) or "default" not in entry:
        return
    value = entry["default"]
    value = int(value) if isinstance(value, bool) else value
    if entry.get("paramtype") == "vlogdefine":
        found.defines[name] = value
    elif entry.get("paramtype") in ("vlogparam", "generic"):
        found.parameters[name] = value


def _first(toplevel: object) -> str | None:
    """Return the one top module, also of a list or of several in a text."""
    names = toplevel if isinstance(toplevel, list) else str(toplevel or "").split()
    return str(names[0]) if names else None


def expanded(paths: Iterable[Path]) -> FileList:
    """Return files, folders and lists together, in order."""
    found = FileList()
    for path in paths:
        found.add(read_list(path) if is_list(path) else FileList([path]))
    return found
