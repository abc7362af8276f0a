"""What one step of induction leaves open is put to the model checker, which takes more of them."""

import shutil
from pathlib import Path

import pytest
from replaced import replace_in
from status_alone import status_alone

import hdl_stubs
from refmodel.prove.verdict import BOUNDED, PROVED, REFUTED
from testbenches.hdl.model_checker import find_checker
from testbenches.prove import attempt
from testbenches.prove.attempt import Effort
from testbenches.prove.checked import Checked
from testbenches.prove.prover import prove_binding

STUBS = Path(hdl_stubs.__file__).parent
pytestmark = [
    pytest.mark.skipif(not shutil.which("yosys"), reason="needs yosys"),
    pytest.mark.long,
]
EFFORT = Effort(seconds=60, second=False)


def core(folder, never):
    """Write the reference core with a counter in threes whose value `never` would turn a flag."""
    shutil.copytree(STUBS / "reference", folder / "reference")
    flag = "assign status[BYTE_READY] = byte_ready"
    counter = (
        "reg [9:0] threes;\n"
        "    always @(posedge clk) threes <= rst || threes >= 10'd765 ? 10'd0 : threes + 10'd3;\n"
        f"    {flag} ^ (threes == 10'd{never})"
    )
    replace_in(folder / "reference/disk_regs.v", (flag, counter))
    return status_alone(folder / "reference/binding.yaml")


def test_a_value_that_takes_steps_to_rule_out(tmp_path):
    """It is 13 only five steps behind 1, which nothing comes before: proved, and it says how."""
    verdict = prove_binding(core(tmp_path, 13), {}, EFFORT).verdict
    assert verdict.verdict == PROVED, verdict.why
    assert "model checker" in verdict.how
    assert any("model checker" in line for line in verdict.lines())


def test_without_the_checker_it_is_bounded(tmp_path, monkeypatch):
    """No relation found tells multiples of three from other numbers."""
    monkeypatch.setattr(attempt, "check", lambda *_: Checked())
    effort = Effort(seconds=20, second=False)
    verdict = prove_binding(core(tmp_path, 13), {}, effort).verdict
    assert verdict.verdict == BOUNDED
    assert "does not follow" in verdict.why


def test_a_value_that_is_reached_is_refuted(tmp_path):
    """A multiple of three turns the flag, and nothing calls that proved."""
    assert prove_binding(core(tmp_path, 12), {}, EFFORT).verdict.verdict == REFUTED


def test_the_checker_is_there():
    """It comes with the yosys that is used."""
    assert Path(find_checker()).exists()
