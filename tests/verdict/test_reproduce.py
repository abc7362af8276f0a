"""`reproduce` names all that it takes: also the scenarios whose leavings a mismatch needs."""

import json
import shlex
import shutil

import pytest
from command import cellstep
from replaced import replace_in

from hdl_stubs.defects import REFERENCE

UNREAD = """\
name: {name}
track: {{layout: timed, at: [0, 1, 2, 3, 4, 5, 6, 7], bits: '00000000', cycles: 40}}
"""


@pytest.fixture
def core(tmp_path):
    """Return the binding of a core whose byte_ready stays up through a reset, and its scenarios.

    It is down when the simulator starts: alone each scenario agrees.
    """
    shutil.copytree(REFERENCE, tmp_path / "core")
    kept = "byte_ready        <= byte_ready;"
    replace_in(tmp_path / "core/disk_regs.v", ("byte_ready        <= 1'b0;", kept))
    begins = "    initial byte_ready = 1'b0;\nendmodule"
    replace_in(tmp_path / "core/disk_regs.v", ("endmodule", begins))
    suite = tmp_path / "suite"
    suite.mkdir()
    for name in ("one", "two", "three"):
        (suite / f"{name}.yaml").write_text(UNREAD.format(name=name))
    return tmp_path / "core/binding.yaml", suite


@pytest.mark.rest
def test_command_plays_what_came_before(core, simulator, tmp_path):
    """A mismatch that only another scenario brings about comes again by the command printed."""
    binding, suite = core
    words = ("--sim", simulator, "--out", tmp_path / "found")
    done = cellstep("run", binding, "--suite", suite, *words)
    assert 1 == done.returncode
    result = json.loads((tmp_path / "found/result.json").read_text())
    run = next(run for run in result["runs"] if run["verdict"] == "mismatch")
    _, *command = shlex.split(run["reproduce"])
    assert 1 == command.count("--after")
    again = cellstep(*command)
    assert 1 == again.returncode
    assert f"cycle {run['first_mismatch']['cycle']}," in again.stdout
    alone = command[: command.index("--after")] + command[command.index("--after") + 2 :]
    assert 0 == cellstep(*alone).returncode


def test_scenario_behind_that_is_none(core):
    """What is to be played first must be there."""
    binding, suite = core
    done = cellstep("run", binding, "--suite", suite / "one.yaml", "--after", suite / "no.yaml")
    assert 2 == done.returncode
    assert "no.yaml" in done.stderr
