"""Files in odd places: pipes, links to nothing, names of other tools, folders without end."""

import os
import shlex
import subprocess
import sys

import pytest
from command import COMMAND, apart, cellstep


def test_a_pipe_and_a_dangling_link_beside_the_sources_change_nothing(core):
    """A glob takes plain files only."""
    made = core()
    os.mkfifo(made.folder / "pipe.v")
    (made.folder / "gone.v").symlink_to("nowhere.v")
    assert 0 == made.run().returncode
    done = cellstep("bind", made.folder, "--top", "disk_regs")
    assert 0 == done.returncode
    done = cellstep("bind", made.folder / "pipe.v")
    assert (2, True) == (done.returncode, "is not a plain file" in done.stderr)


def test_a_file_that_is_a_pipe_is_read_or_refused(tmp_path, monkeypatch):
    """What a shell hands over as a pipe is read; one that keeps silent is told of."""
    (tmp_path / "bad.yaml").write_text("core: x\n")
    line = f"{shlex.quote(sys.executable)} -m refmodel.cli.main run <(cat {tmp_path}/bad.yaml)"
    shell = ["bash", "-c", line]
    done = subprocess.run(shell, capture_output=True, text=True, timeout=100, check=False)
    assert 2 == done.returncode
    assert ":1:1: core: 'x' should be a mapping" in done.stderr
    os.mkfifo(tmp_path / "silent.yaml")
    monkeypatch.setattr("refmodel.ground.content.SILENCE", 0.1)
    done = cellstep("link", tmp_path / "silent.yaml")
    assert (2, True) == (done.returncode, "nothing has come out of it" in done.stderr)


def test_a_core_in_a_file_with_brackets_is_bound(core):
    """What `bind` writes for a file whose name looks like a pattern is read again, and agrees."""
    made = core("stub")
    odd = made.folder / "a[1].v"
    (made.folder / "disk_regs.v").rename(odd)
    drafted = made.folder / "drafted.yaml"
    assert 0 == cellstep("bind", odd, "--out", drafted).returncode
    assert "a[1].v" in drafted.read_text()
    done = cellstep("run", drafted, "--suite", "quick/random", "--sim", "icarus")
    assert "YAML" not in done.stderr
    assert "no file" not in done.stderr


@pytest.mark.share(2)
@pytest.mark.parametrize("pattern", ["*.v", "**/*.v"])
def test_folders_without_end_are_searched_or_refused(core, pattern):
    """2000 folders in each other: no recursion, and a message where the system's names end."""
    made = core()
    here = os.getcwd()
    try:
        os.chdir(made.folder)
        for _ in range(2000):
            os.mkdir("d")
            os.chdir("d")
    finally:
        os.chdir(here)
    assert 0 == cellstep("bind", made.folder, "--top", "disk_regs").returncode
    made.bind(('sources: ["*.v"]', f'sources: ["{pattern}"]'))
    done = made.run()
    assert done.returncode in (0, 2)
    assert "internal error" not in done.stderr
    subprocess.run(["rm", "-rf", str(made.folder / "d")], check=True)


def test_a_core_too_deep_for_a_name_is_told(tmp_path):
    """In a folder whose whole name is longer than the system takes, the binding's line is told."""
    script = f"""
import os, shutil, subprocess, sys
from hdl_stubs.defects import REFERENCE
os.chdir({str(tmp_path)!r})
for _ in range(1200):
    os.mkdir("dddd"); os.chdir("dddd")
shutil.copy(REFERENCE / "binding.yaml", "binding.yaml")
sys.exit(subprocess.run({COMMAND} + ["run", "binding.yaml"]).returncode)
"""
    asked = [sys.executable, "-c", script]
    done = subprocess.run(asked, capture_output=True, text=True, timeout=100, check=False)
    subprocess.run(["rm", "-rf", str(tmp_path / "dddd")], check=True)
    assert 2 == done.returncode
    assert "binding.yaml:4:3: core.sources: the folder's path of" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_binding_whose_name_is_no_text_leaves_results(core):
    """Bytes that are no UTF-8 in a binding's name neither stop a run nor its reports."""
    made = core()
    odd = made.folder / os.fsdecode(b"b\xffx.yaml")
    made.binding.rename(odd)
    made.binding = odd
    done = apart(*made.words(), stdout=subprocess.DEVNULL)
    assert 0 == done.returncode
    assert "agree" == made.result["verdict"]
    assert (made.out / "report.html").exists()


def test_a_limit_beyond_all_use_costs_nothing(tmp_path):
    """A host that may make 10^9 reads makes those there is time for."""
    path = tmp_path / "limit.yaml"
    path.write_text(
        "name: limit\ntrack: {layout: random, bits: 560, marks: 16}\nhost: {program: "
        "poll_until_ready, params: {cost: 1, count: 1000000000}, limit: 1000000000}\n"
    )
    assert 0 == cellstep("trace", path).returncode


def test_an_empty_suite_is_refused(core):
    """--suite '' is not the current folder."""
    done = core().run(suite="")
    assert (2, True) == (done.returncode, "--suite: is empty" in done.stderr)


def test_a_path_that_a_simulator_misreads_is_refused(core, simulator):
    """A quote in a path is bad input; what only one simulator takes for its own says so."""
    made = core()
    for name, status, said in (
        ('a"b', 2, "no simulator takes a quote in a path"),
        ("a$HOME", 125 if simulator == "verilator" else 0, "Verilator takes the $"),
    ):
        made.folder = made.folder.rename(made.folder.with_name(name))
        made.binding = made.folder / "binding.yaml"
        done = made.run(suite="quick/sync_poll", sim=simulator)
        assert status == done.returncode
        assert (status != 0) == (said in done.stdout + done.stderr)


def test_keywords_that_a_source_leaves_off_are_told(tmp_path):
    """A file that does not compile for what the one before it left on names that one's line."""
    (tmp_path / "a.v").write_text(
        '// `begin_keywords "1364-1995"\n`begin_keywords "1364-2005"\n`begin_keywords "1364-1995"\n'
        "`end_keywords\nmodule a(input x); endmodule\n"
    )
    (tmp_path / "b.sv").write_text("module b(input logic x); endmodule\n")
    done = cellstep("bind", tmp_path / "a.v", tmp_path / "b.sv", "--top", "b")
    assert 125 == done.returncode
    assert f"{tmp_path}/a.v:2: `begin_keywords also holds for the files after it" in done.stderr
