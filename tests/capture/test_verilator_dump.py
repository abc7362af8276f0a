"""A dump Verilator writes of a plain bench reads like the one Icarus writes."""

import os
import subprocess

import pytest
from recorded import BENCH, REFERENCE, dumped, mapped

from refmodel.capture.check import check
from refmodel.capture.opened import open_capture
from refmodel.world.find import SCENARIOS
from testbenches.toolchain import available, need, simulator_environment


@pytest.mark.long
@pytest.mark.skipif(len(available()) < 2, reason="needs both simulators")
def test_the_dumps_of_two_simulators_are_checked_alike(tmp_path):
    """Outside check: two writers of VCD, one run; cycles, reads and changes are the same."""
    cycles = 20_000
    by_icarus = dumped(tmp_path, SCENARIOS / "quick" / "sync_poll.yaml", cycles)
    tool, environment = need("verilator"), os.environ | simulator_environment("verilator")
    sources = sorted(str(path) for path in REFERENCE.glob("*.v"))
    build = [tool.program, "--binary", "--timing", "--trace", "-Wno-fatal", f"-GCYCLES={cycles}"]
    build += ["--top-module", "bench", "--Mdir", tmp_path / "obj", BENCH, *sources]
    subprocess.run(build, check=True, env=environment, capture_output=True)
    dump = tmp_path / "verilator.vcd"
    play = [tmp_path / "obj" / "Vbench", f"+inputs={tmp_path}/inputs.hex", f"+dump={dump}"]
    subprocess.run(play, check=True, env=environment, capture_output=True)
    one, other = (check(open_capture(path, mapped(tmp_path))) for path in (by_icarus, dump))
    assert one.finding is None
    assert other.finding is None
    assert other.cycles > 19_990
    assert {n: (f.changes, f.reads) for n, f in one.fields.items()} == {
        n: (f.changes, f.reads) for n, f in other.fields.items()
    }
