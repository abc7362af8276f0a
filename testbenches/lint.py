"""What the simulators say of a core's own files: latches, loops, widths, two drivers."""

from __future__ import annotations

import os
import re
import subprocess
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from refmodel.report.result import ToolWarning
from testbenches.binding.ports import CorePorts
from testbenches.toolchain import available, linter, simulator_environment

LOOP, WIDTHS, IMPLICIT = "combinational loop", "widths differ", "net without declaration"
OTHER = "warning"


class Tool(NamedTuple):
    """The options a tool lints files with, and how it says what: `kinds` by how that begins.

    A kind of "" is no fault of the core's. With `codes` other kinds are called as the tool does.
    """

    name: str
    options: list[str]
    warning: re.Pattern[str]
    kinds: Mapping[str, str]
    codes: bool


TOOLS = {
    "verilator": Tool(
        "verilator",
        ["--lint-only", "-Wno-fatal", "--relative-includes", "--top-module"],
        re.compile(r"%Warning-(?P<kind>\w+): (?P<file>.+?):(?P<line>\d+):\d+: (?P<text>.*)"),
        {
            "UNOPTFLAT": LOOP,
            "LATCH": "latch",
            "NOLATCH": "latch",
            "MULTIDRIVEN": "driven in two places",
            "MULTITOP": "",
            "WIDTH": WIDTHS,
            "IMPLICIT": IMPLICIT,
        },
        codes=True,
    ),
    "icarus": Tool(
        "icarus",
        ["-g2012", "-grelative-include", "-Wall", "-t", "null", "-s"],
        re.compile(r"(?P<file>.+?):(?P<line>\d+): warning: (?P<text>(?P<kind>.*))"),
        {
            "Port ": WIDTHS,
            "implicit definition": IMPLICIT,
            "Some design elements": "",
            "timescale": "",
        },
        codes=False,
    ),
}
PATIENCE = 30  # seconds
NAMED = re.compile(r"'([\w.\[\]$]+)'")


def warnings_of(ports: CorePorts, defines: Mapping[str, object]) -> tuple[ToolWarning, ...]:
    """Return the warnings of each tool there is about a core's files, those of one line once."""
    macros = [f"-D{name}={1 if value is None else value}" for name, value in defines.items()]
    arguments = [*macros, *(f"-I{folder.resolve()}" for folder in ports.include_dirs)]
    sources = [str(source.resolve()) for source in ports.sources]
    found: dict[tuple[str, int], list[ToolWarning]] = {}
    for name, tool in TOOLS.items():
        if name in available():
            said = _said(name, [linter(name), *tool.options, ports.top, *arguments, *sources])
            for warning in dict.fromkeys(_warnings(said, tool)):
                place = warning.file, warning.line
                of_others = [w for w in found.get(place, []) if w.tool != name]
                if not of_others:
                    found.setdefault(place, []).append(warning)
    return tuple(warning for warnings in found.values() for warning in warnings)


def _said(name: str, command: list[str]) -> str:
    """Return what a tool says of the files; nothing when it takes too long."""
    try:
        done = subprocess.run(
            command,
            env={**os.environ, **simulator_environment(name)},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            check=False,
            text=True,
            errors="replace",
            timeout=PATIENCE,
        )
    except (subprocess.TimeoutExpired, OSError):
        return ""
    return done.stderr + done.stdout


def _warnings(said: str, tool: Tool) -> Iterator[ToolWarning]:
    for line in said.splitlines():
        found = tool.warning.match(line)
        if found is None:
            continue
        text = re.sub(r"\s+", " ", found["text"])
        kind = next(
            (kind for begin, kind in tool.kinds.items() if found["kind"].startswith(begin)), None
        )
        if kind is None:
            kind = found["kind"] if tool.codes else OTHER
        named = NAMED.findall(text)
        if kind:
            signal = named[-1] if named else ""
            yield ToolWarning(kind, found["file"], int(found["line"]), text, signal, tool.name)


def loops(warnings: tuple[ToolWarning, ...]) -> list[str]:
    """Return the combinational loops among warnings, each with file, line and signal."""
    return [f"{w.file}:{w.line}: {LOOP} through {w.signal}" for w in warnings if w.kind == LOOP]
