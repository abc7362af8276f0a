"""`cellstep doctor`: what is on this machine, and the command that gets what is missing."""

from __future__ import annotations

import importlib.metadata
import json
import os
import platform
import re
import shutil
import sys
from collections.abc import Iterator
from dataclasses import asdict, dataclass

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text
from typing_extensions import TypedDict

from refmodel.cli.reporting import AsJson, Quiet, report
from refmodel.ground.errors import EXIT_AGREE, EXIT_CANNOT_RUN
from testbenches import toolchain

OLDEST_PYTHON = (3, 11)
ENOUGH_DISK = 1 << 30  # bytes; a built core takes some 10 MB
PROGRAMS = {
    "c++": "Verilator builds with it",
    "perl": "Verilator is started by it",
    "make": "Verilator builds with it",
    "ghdl": "optional, for cores in VHDL",
    "yosys": "optional, for prove and mutate, and bind looks closer with it",
}


@dataclass(frozen=True, slots=True)
class Item:
    """One thing looked for. `remedy` is the command or deed that puts it right, "" when it is."""

    name: str
    found: str
    remedy: str = ""

    @property
    def ok(self) -> bool:
        """Whether it is there and can be used."""
        return not self.remedy


class ItemForm(TypedDict):
    """One thing looked for."""

    name: str
    """Its name."""
    found: str
    """What was found."""
    remedy: str
    """What puts it right; empty if it is."""
    ok: bool
    """Whether it is there and can be used."""


class DoctorForm(TypedDict):
    """What is on this machine."""

    simulators: list[str]
    """Simulators that can run."""
    findings: list[ItemForm]
    """Everything that was looked for."""


def doctor_command(
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """List everything Cellstep uses, and the command that installs what is missing.

    Example: cellstep doctor --json

    Exit status: 0 when at least one simulator can run, 125 when none can.
    """
    findings = list(examine())
    usable = toolchain.available()
    rows = [{**asdict(finding), "ok": finding.ok} for finding in findings]
    report(
        quiet,
        as_json,
        full=lambda: _print(findings, usable),
        line=lambda: _usable(usable),
        data=lambda: json.dumps({"simulators": usable, "findings": rows}, indent=2),
    )
    raise typer.Exit(EXIT_AGREE if usable else EXIT_CANNOT_RUN)


def examine() -> Iterator[Item]:
    """Yield what was found, in the order it is needed."""
    yield _python()
    yield _libpython()
    yield from _libraries()
    for name, use in PROGRAMS.items():
        yield _program(name, use)
    for name in toolchain.SIMULATORS:
        yield from _simulator(name)
    yield _cache()
    yield _disk()


def _python() -> Item:
    """Look at the Python that runs this."""
    recent = sys.version_info >= OLDEST_PYTHON
    remedy = (
        "" if recent else f"make setup PYTHON=... with {'.'.join(map(str, OLDEST_PYTHON))} or later"
    )
    return Item("Python", f"{platform.python_version()} ({sys.executable})", remedy)


def _libpython() -> Item:
    """Look for the library a simulator loads to run Python inside itself."""
    return Item(
        "libpython", toolchain.libpython() or "not found", _remedy(toolchain.lacks_libpython())
    )


def _libraries() -> Iterator[Item]:
    """Look for each Python package Cellstep itself names; Verilator's is a simulator."""
    try:
        wanted = importlib.metadata.requires("cellstep") or []
    except importlib.metadata.PackageNotFoundError:
        yield Item("cellstep", "not installed", "make setup")
        return
    for requirement in wanted:
        name = re.split(r"[^\w.-]", requirement, maxsplit=1)[0]
        if "extra ==" not in requirement and name != "verilator":
            yield _library(name)


def _library(name: str) -> Item:
    """Look for one Python package."""
    try:
        return Item(name, importlib.metadata.version(name))
    except importlib.metadata.PackageNotFoundError:
        return Item(name, "not installed", "make setup")


def _program(name: str, use: str) -> Item:
    """Look for a program on PATH."""
    found = shutil.which(name)
    if found:
        return Item(name, found)
    return Item(name, f"not found; {use}", toolchain.how_to_get(name))


def _simulator(name: str) -> Iterator[Item]:
    """Yield every candidate for a simulator: the one used, and why each other one is not."""
    chosen: toolchain.Tool | None = None
    for tool in toolchain.candidates(name):
        if tool.fault:
            reason = f"{tool}: not used, {tool.fault.reason}"
            yield Item(name, reason, "" if chosen else tool.fault.remedy)
        else:
            yield Item(name, f"{tool}: {f'not used, {chosen} is' if chosen else 'used'}")
            chosen = chosen or tool
    if not toolchain.candidates(name):
        yield Item(name, "not found", toolchain.why_not(name).partition(": ")[2])


def _cache() -> Item:
    """Look whether built cores can be kept."""
    folder = toolchain.cache_folder()
    if toolchain.writable(folder):
        return Item("cache folder", str(folder))
    return Item("cache folder", f"{folder} cannot be written", "set XDG_CACHE_HOME")


def _disk() -> Item:
    """Look at the space left where built cores are kept."""
    cache = toolchain.cache_folder()
    folder = next(f for f in (cache, *cache.absolute().parents) if os.path.exists(f))
    free = shutil.disk_usage(folder).free
    remedy = "" if free >= ENOUGH_DISK else "make room, at least 1 GB"
    return Item("free disk", f"{free / 1e9:.1f} GB", remedy)


def _remedy(fault: toolchain.Fault | None) -> str:
    """Return what puts a fault right."""
    return fault.remedy if fault else ""


def _print(findings: list[Item], usable: list[str]) -> None:
    """Print the findings as a table, then what can run."""
    table = Table(box=None, pad_edge=False)
    for heading in ("", "Name", "Found", "To get it"):
        table.add_column(heading, overflow="fold")
    for finding in findings:
        mark = Text("ok", "green") if finding.ok else Text("--", "red")
        table.add_row(mark, finding.name, Text(finding.found), Text(finding.remedy))
    console = Console()
    console.print(table)
    console.print(f"\n{_usable(usable)}")


def _usable(usable: list[str]) -> str:
    """Say which simulators can run."""
    return f"Simulators that can run: {', '.join(usable) or 'none'}"
