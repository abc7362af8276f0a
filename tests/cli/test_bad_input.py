"""What bad input gets: one message that names the place, an exit status, no traceback."""

import contextlib
import os
import signal
import subprocess
import time
from pathlib import Path

import pytest
from cli_cases import core, needs_icarus
from command import COMMAND, apart, cellstep

from hdl_stubs.defects import REFERENCE
from refmodel.world.find import find_suite

GOOD = REFERENCE / "binding.yaml"
POLL = ["--suite", "quick/sync_poll"]


def test_missing_file(tmp_path):
    """A binding that is not there is named."""
    done = apart("run", tmp_path / "none.yaml")
    assert (2, f"{tmp_path}/none.yaml: no such file\n") == (done.returncode, done.stderr)


def test_malformed_yaml(tmp_path):
    """A file that is no YAML is reported with line and column."""
    path = tmp_path / "b.yaml"
    path.write_text("core: {top: x\nprofile: pal_dd\n")
    done = cellstep("run", path)
    assert 2 == done.returncode
    assert done.stderr.startswith(f"{path}:2:8: not valid YAML")


def test_wrong_port(tmp_path):
    """A port the core has not is told at its key, with a near name, before any simulator starts."""
    binding = core(tmp_path / "core", binding=[("strobe: bit_stb", "strobe: bit_sbt")])
    done = cellstep("run", binding, env={"XDG_CACHE_HOME": str(tmp_path / "cache")})
    assert 2 == done.returncode
    assert f"{binding}:26:" in done.stderr
    assert "did you mean 'bit_stb'?" in done.stderr
    assert not (tmp_path / "cache").exists()


def test_fault_in_the_second_binding_stops_the_first(tmp_path):
    """With several bindings, a fault in any is reported before the first one runs."""
    bad = core(tmp_path / "core", binding=[("strobe: bit_stb", "strobe: bit_sbt")])
    done = cellstep("run", GOOD, bad)
    assert (2, "") == (done.returncode, done.stdout)


def test_unknown_suite():
    """A suite that does not exist is reported with a near name."""
    done = cellstep("run", GOOD, "--suite", "statsu")
    assert 2 == done.returncode
    assert "did you mean 'status'?" in done.stderr


def test_core_that_does_not_compile(tmp_path):
    """A syntax error is reported with the user's file and line, and is what bisect skips."""
    binding = core(tmp_path / "core", byte_framer=("3'd7;", "3'd7"))
    done = cellstep("run", binding, *POLL)
    assert 125 == done.returncode
    assert "byte_framer.v:" in done.stderr


@needs_icarus
def test_core_only_one_simulator_refuses(tmp_path):
    """What Icarus cannot read is reported in its own words, with the user's file and line."""
    inside = ("bit_stb && bit_count == LAST_BIT", "bit_stb && (bit_count inside {LAST_BIT})")
    binding = core(tmp_path / "core", byte_framer=inside)
    done = cellstep("run", binding, *POLL, "--sim", "icarus")
    assert 125 == done.returncode
    assert "error: icarus: the core does not build:\n" in done.stdout
    assert "byte_framer.v:" in done.stdout


@needs_icarus
def test_core_that_calls_finish(tmp_path):
    """A core that ends the simulation by itself gets no verdict but error, and 125."""
    finish = ("localparam LAST_BIT", "initial #50000 $finish;\nlocalparam LAST_BIT")
    binding = core(tmp_path / "core", byte_framer=finish)
    out = tmp_path / "out"
    done = cellstep("run", binding, *POLL, "--sim", "icarus", "--out", out)
    assert 125 == done.returncode
    assert "does the core call $finish or $stop?" in done.stdout
    assert '"verdict": "error"' in (out / "result.json").read_text()
    assert 'errors="1"' in (out / "junit.xml").read_text()


@needs_icarus
def test_core_that_gives_up(tmp_path):
    """What a core says when it ends the simulation is reported, with its file and line."""
    fatal = ("localparam LAST_BIT", 'initial #50000 $fatal(1, "given up");\nlocalparam LAST_BIT')
    binding = core(tmp_path / "core", byte_framer=fatal)
    done = cellstep("run", binding, *POLL, "--sim", "icarus")
    assert 125 == done.returncode
    source = binding.parent / "byte_framer.v"
    line = 1 + source.read_text().split("\n").index('    initial #50000 $fatal(1, "given up");')
    assert f"\n  {source}:{line}: given up\n" in done.stdout
    assert "$readmemh" not in done.stdout


def test_output_that_cannot_be_written(tmp_path):
    """A file where the folder should be is reported before anything runs, and stays as it was."""
    (tmp_path / "out").write_text("mine")
    done = cellstep("run", GOOD, *POLL, "--out", tmp_path / "out")
    assert (2, "mine") == (done.returncode, (tmp_path / "out").read_text())
    assert f"--out {tmp_path}/out: cannot be written" in done.stderr


def test_no_simulator(tmp_path):
    """Without any simulator the command says why each cannot run and how to get it: 125."""
    done = cellstep("run", GOOD, *POLL, env={"PATH": str(tmp_path)})
    assert 125 == done.returncode
    assert "no simulator can run here:" in done.stderr
    assert "icarus: not installed: install iverilog" in done.stderr


@needs_icarus
def test_one_simulator_only(tmp_path):
    """With one simulator the run goes on, and the report says why the other did not run."""
    for name in ("iverilog", "vvp"):
        found = subprocess.run(["which", name], capture_output=True, text=True, check=True)
        (tmp_path / name).symlink_to(found.stdout.strip())
    done = cellstep("run", GOOD, *POLL, env={"PATH": str(tmp_path)})
    assert 0 == done.returncode
    assert "  verilator      did not run: " in done.stdout
    both = cellstep("run", GOOD, *POLL, "--sim", "both", env={"PATH": str(tmp_path)})
    assert 125 == both.returncode


def processes(folder):
    """Return the command lines with a folder's name on them."""
    found = []
    for entry in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):  # it has ended
            found.append(entry.read_bytes().decode(errors="replace"))
    return [line for line in found if str(folder) in line]


@pytest.mark.rest
@needs_icarus
@pytest.mark.skipif(not Path("/proc/self/cmdline").exists(), reason="needs /proc")
@pytest.mark.parametrize(
    ("number", "status", "said"),
    [(signal.SIGINT, 130, "interrupted"), (signal.SIGTERM, 143, "terminated")],
)
def test_interrupt(number, status, said, tmp_path):
    """Ctrl-C ends the simulators, leaves no work files, and earlier results as they were."""
    work, out = tmp_path / "work", tmp_path / "out"
    work.mkdir()
    out.mkdir()
    (out / "result.json").write_text("earlier")
    process = subprocess.Popen(
        [*COMMAND, "run", str(GOOD), "--suite", "status/dense_reads", "--out", str(out)],
        env={**os.environ, "TMPDIR": str(work)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    while not any(f"{work}/cellstep" in line for line in processes(work)):
        assert process.poll() is None, process.stderr.read()
        time.sleep(0.02)
    process.send_signal(number)
    stdout, stderr = process.communicate(timeout=30)
    assert (status, "", f"cellstep: {said}\n") == (process.returncode, stdout, stderr)
    assert [] == processes(work)
    assert [] == list(work.iterdir())
    assert ["result.json"] == [path.name for path in out.iterdir()]
    assert "earlier" == (out / "result.json").read_text()


@pytest.fixture
def small_disk(tmp_path):
    """Mount a file system of 64 KB; skipped where that is not allowed."""
    place = tmp_path / "small"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=64k", "none", str(place)]
    if os.geteuid() or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("needs to mount a small file system")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_full_disk_of_the_work_files(small_disk):
    """When the work files do not fit, the message says that the disk is full."""
    done = apart("run", GOOD, *POLL, env={"TMPDIR": str(small_disk)})
    assert (2, "") == (done.returncode, done.stdout)
    assert "disk full" in done.stderr
    assert [] == list(small_disk.iterdir())


def test_message_stays_readable(tmp_path):
    """What a file holds can neither colour the terminal by its message nor fill it."""
    path = tmp_path / "b.yaml"
    path.write_text(f'profile: "\\e[31m{"x" * 5000}"\ncore: {"y" * 5000}\n')
    done = cellstep("run", path)
    assert 2 == done.returncode
    assert "\x1b" not in done.stderr
    assert f"{path}:1:10: profile: '\\x1b[31mxxxx" in done.stderr
    assert 400 > max(map(len, done.stderr.splitlines()))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("run", GOOD, "--out", ""), "--out: is empty"),
        (("run", GOOD, "--out="), "--out: is empty"),
        (("run", GOOD, "--history", ""), "--history: is empty"),
        (("run", ""), "an argument after 'run': is empty"),
        (("bind", GOOD, "--top", ""), "--top: is empty"),
    ],
)
def test_an_empty_argument_is_refused(tmp_path, words, said):
    """An unset variable of the shell stands for no file or folder, not for the current folder."""
    done = cellstep(*words, cwd=tmp_path)
    assert (2, f"{said}; is a variable of the shell not set?\n") == (done.returncode, done.stderr)
    assert [] == list(tmp_path.iterdir())


def test_scenarios_of_any_spelling_of_yaml_are_played(tmp_path):
    """A suite folder takes .yaml, .yml and .YAML alike."""
    for name in ("a.yaml", "b.yml", "c.YAML", "d.Yml"):
        (tmp_path / name).write_text(f"name: {name}\ntrack: {{layout: words, words: [0x4489]}}\n")
    (tmp_path / "e.txt").write_text("no scenario")
    assert ["a.yaml", "b.yml", "c.YAML", "d.Yml"] == [s.name for _, s in find_suite(str(tmp_path))]
