"""What Verilator's lint says of a core's own files: latches, loops, widths, two drivers."""

from __future__ import annotations

import os
import re
import subprocess
from collections.abc import Iterator, Mapping

from refmodel.report.result import ToolWarning
from testbenches.binding.ports import CorePorts
from testbenches.toolchain import available, simulator_environment

LOOP = "combinational loop"
KINDS = {
    "UNOPTFLAT": LOOP,
    "LATCH": "latch",
    "NOLATCH": "latch",
    "MULTIDRIVEN": "driven in two places",
    "MULTITOP": "",  # no fault of the core's
}
WARNING = re.compile(r"%Warning-(\w+): (.+?):(\d+):\d+: (.*)")
PATIENCE = 30  # seconds
NAMED = re.compile(r"'([\w.\[\]$]+)'")


def warnings_of(ports: CorePorts, defines: Mapping[str, object]) -> tuple[ToolWarning, ...]:
    """Return the warnings about a core's files, in order; none where there is no Verilator."""
    if "verilator" not in available():
        return ()
    macros = [f"-D{name}={1 if value is None else value}" for name, value in defines.items()]
    folders = [f"-I{folder.resolve()}" for folder in ports.include_dirs]
    options = ["--lint-only", "-Wno-fatal", "--relative-includes", "--top-module", ports.top]
    sources = [str(source.resolve()) for source in ports.sources]
    try:
        done = subprocess.run(
            ["verilator", *options, *macros, *folders, *sources],
            env={**os.environ, **simulator_environment("verilator")},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            check=False,
            text=True,
            errors="replace",
            timeout=PATIENCE,
        )
    except (subprocess.TimeoutExpired, OSError):
        return ()
    return tuple(dict.fromkeys(_warnings(done.stderr + done.stdout)))


def _warnings(said: str) -> Iterator[ToolWarning]:
    for line in said.splitlines():
        found = WARNING.match(line)
        if found:
            kind = KINDS.get(
                found[1], "widths differ" if found[1].startswith("WIDTH") else found[1]
            )
            named = NAMED.findall(found[4])
            if kind:
                text = re.sub(r"\s+", " ", found[4])
                yield ToolWarning(kind, found[2], int(found[3]), text, named[-1] if named else "")


def loops(warnings: tuple[ToolWarning, ...]) -> list[str]:
    """Return the combinational loops among warnings, each with file, line and signal."""
    return [f"{w.file}:{w.line}: {LOOP} through {w.signal}" for w in warnings if w.kind == LOOP]
