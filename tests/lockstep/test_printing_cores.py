"""A core that prints without end fills neither the disk nor the user's patience."""

import shutil
from pathlib import Path

import pytest

import hdl_stubs
from refmodel.ground.errors import CannotRun
from refmodel.world.find import find_suite
from testbenches.binding.load import load_binding
from testbenches.job import Run
from testbenches.lockstep import Lockstep
from testbenches.simulator import LONGEST_LOG

REFERENCE = Path(hdl_stubs.__file__).parent / "reference"
PRINTED = "again and again"


@pytest.fixture
def printing(tmp_path, simulator):
    """Return a function that gives a session with a core that prints, and its work."""

    def make(code):
        core = shutil.copytree(REFERENCE, tmp_path / "core")
        source = core / "byte_framer.v"
        head, end, tail = source.read_text().rpartition("endmodule")
        source.write_text(f"{head}{code}\n{end}{tail}")
        lockstep = Lockstep(load_binding(core / "binding.yaml"), tmp_path / "work", 1, {})
        ready = lockstep.prepare(find_suite("quick/random")[:1], lambda _: None)
        return lockstep, ready, lockstep.session(simulator)

    return make


def test_a_core_that_prints_every_cycle_is_compared(printing):
    """Of what a core prints each cycle the first megabyte is kept, and the verdict stands."""
    lockstep, ready, session = printing(f'always @(posedge clk) $display("{PRINTED}");')
    (outcome,) = lockstep.run(ready, session, lambda _: None)
    assert ("agree", True) == (outcome.verdict, outcome.cycles > LONGEST_LOG / len(PRINTED))
    log = session.job().log
    assert log.stat().st_size == LONGEST_LOG
    assert PRINTED in log.read_text()


@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
def test_a_build_does_not_count_as_the_run(printing, monkeypatch):
    """The limit of a run begins once it is built; a build that never ends is given up as that."""
    lockstep, ready, session = printing("// quiet")
    assert not session.job().built.exists()
    (outcome,) = lockstep.run(ready, session, lambda _: None)
    assert ("agree", True) == (outcome.verdict, session.job().built.exists())
    monkeypatch.setattr("testbenches.simulator.BUILDING", -1.0)
    with pytest.raises(CannotRun, match="icarus: the build has no end after -1 s"):
        session.run([Run(0)], 100)


@pytest.mark.rest
@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)  # the other builds for seconds
def test_a_core_that_prints_without_end_is_told(printing):
    """A core that prints and lets no time pass is stopped, and what it printed is reported."""
    _, _, session = printing(f'initial forever $display("{PRINTED}");')
    with pytest.raises(CannotRun) as error:
        session.run([Run(0)], 3)
    assert str(error.value) == (
        "icarus: no end after 3 s; does the core loop without letting time pass? "
        f"It printed more than 1 MB, such as:\n  {PRINTED}"
    )
    assert session.job().log.stat().st_size == LONGEST_LOG
