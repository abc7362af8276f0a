"""Building a harness: what the builds share, and what a failure leaves."""

import json
import os
import re
import shutil
import subprocess
from dataclasses import replace
from hashlib import sha256

import pytest

from testbenches.build import BuildError, build, program
from testbenches.job import Job
from testbenches.shelf import file_hash
from testbenches.toolchain import available, cache_folder, simulator_environment

TIMED = """module timed;
  reg clk = 0;
  reg [3:0] count = 0;
  always #5 clk = ~clk;
  always @(posedge clk) begin
    count <= count + 1;
    if (count == `LAST) begin
      $display("end %0t", $time);
      $finish;
    end
  end
endmodule
"""


needs_verilator = pytest.mark.skipif("verilator" not in available(), reason="Verilator builds it")


@pytest.fixture
def job_for(tmp_path, monkeypatch):
    """Return a function that gives the job of building a design with a delay."""

    def make(simulator):
        for name, value in simulator_environment(simulator).items():
            monkeypatch.setenv(name, value)
        source = tmp_path / "timed.v"
        source.write_text(TIMED)
        runtime, defines = cache_folder() / "runtime", {"LAST": 9}
        cache = tmp_path / "cache"
        job = Job(simulator, "timed", (source,), (), defines, cache, runtime, tmp_path, seed=1)
        return replace(job, all_public=True)

    return make


@pytest.fixture(params=["icarus", "verilator"])
def job(request, job_for):
    """Return such a job for each simulator in turn."""
    if request.param not in available():
        pytest.skip(f"needs {request.param}")
    return job_for(request.param)


def said(job):
    """Build, run, and return what the design printed."""
    command = program(job, build(job))
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()


def test_design_with_delays_runs(job):
    """A design with delays is built and runs with its defines.

    The clock rises at 5, 15, ...; the tenth rising edge is at 95 (computed by hand).
    """
    assert "end 95" in said(job)


def test_a_failed_build_can_be_repeated(job):
    """A build that failed leaves the simulator's words, and the next one starts afresh."""
    job.sources[0].write_text(TIMED.replace("endmodule", ""))
    with pytest.raises(BuildError):
        build(job)
    assert "timed.v" in job.build_log.read_text()
    job.sources[0].write_text(TIMED)
    assert "end 95" in said(job)


@pytest.mark.rest
@needs_verilator
def test_verilators_own_library_is_compiled_once(job_for, tmp_path):
    """A build, made anew over what a stopped one left, takes library and headers as they lie.

    Where the compiled headers are of no use, it takes the headers themselves.
    """
    job = job_for("verilator")
    entry = build(job)
    own = shutil.copytree(job.runtime, tmp_path / "runtime", ignore=shutil.ignore_patterns("*.gch"))
    for seal in own.glob("*/*/seal.json"):
        if not (seal.parent / "prelude.h").exists():
            continue
        (seal.parent / "prelude.h").write_text("#error no use\n")
        names = [path.name for path in seal.parent.iterdir() if path != seal]
        products = {name: file_hash(seal.parent / name) for name in names}
        text = json.dumps({"products": products, "read": {}, "absent": []})
        sealed = {"hash": sha256(text.encode()).hexdigest(), "of": text}
        seal.write_text(json.dumps(sealed))
    (entry / "seal.json").unlink()
    build(replace(job, runtime=own, number=1))
    first, second = (replace(job, number=n).build_log.read_text() for n in (0, 1))
    assert "#error no use" in second
    assert "verilated.cpp" not in second
    (compiled,) = [line for line in first.splitlines() if " -c " in line and "Vtop" in line]
    header = re.search(rf"-include ({job.runtime}/\S+)", compiled)[1]
    command = [*compiled.split(), "-fsyntax-only", "-H"]
    seen = subprocess.run(command, cwd=entry, capture_output=True, text=True, check=True)
    assert f"! {header}.gch" in seen.stderr.splitlines()  # `!`: the compiler's sign for valid


def test_builds_of_the_same_core_tell_their_own_failure(job):
    """Of two builds in one folder each keeps what it said, whichever fails last."""
    job.sources[0].write_text("module timed; nonsense endmodule\n")
    both = (job, replace(job, number=1))
    for one in both:
        with pytest.raises(BuildError):
            build(one)
    assert all("timed.v:1:" in one.build_log.read_text() for one in both)


@pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog")
def test_icarus_tells_of_a_byte_order_mark(job_for):
    """Icarus passes over a file that begins with a byte order mark; the build says which."""
    job = job_for("icarus")
    job.sources[0].write_text(TIMED, encoding="utf-8-sig")
    with pytest.raises(BuildError, match=r"timed.v:1: error: Icarus cannot read a byte order mark"):
        build(job)


def test_paths_with_odd_characters(job, tmp_path, monkeypatch):
    """Core, cache and Verilator may lie in folders with spaces and what make and shell take."""
    folder = tmp_path / "my $core's #1: (new)"
    folder.mkdir()
    source = job.sources[0].rename(folder / "timed.v")
    runtime = folder / "runtime"
    runtime.symlink_to(job.runtime)
    if "VERILATOR_ROOT" in os.environ:
        (folder / "verilator").symlink_to(os.environ["VERILATOR_ROOT"])
        monkeypatch.setenv("VERILATOR_ROOT", str(folder / "verilator"))
    job = replace(job, sources=(source,), build_dir=folder, runtime=runtime, folder=folder)
    assert "end 95" in said(job)


@needs_verilator
def test_verilator_itself_in_a_folder_with_a_space(job_for, tmp_path, monkeypatch):
    """The script that starts Verilator finds it in a folder with a space."""
    job = job_for("verilator")
    root = os.environ.get("VERILATOR_ROOT")
    if root is None:
        pytest.skip("the Verilator here is the system's")
    own = tmp_path / "my packages" / "verilator"
    shutil.copytree(f"{root}/bin", own / "bin")
    (own / "include").symlink_to(f"{root}/include")
    monkeypatch.setenv("VERILATOR_ROOT", str(own))
    monkeypatch.setenv("PATH", f"{own}/bin", prepend=os.pathsep)
    job.sources[0].write_text("module timed; nonsense endmodule\n")
    with pytest.raises(BuildError):
        build(job)
    assert "timed.v:1:" in job.build_log.read_text()
