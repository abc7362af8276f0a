"""`cellstep prove` on cores that ship: proved, or refuted with a run that simulators confirm."""

import json
import shutil
from pathlib import Path

import pytest
import yaml
from command import cellstep
from status_alone import status_alone

import hdl_stubs
from hdl_stubs.defects import apply, load_defects

STUBS = Path(hdl_stubs.__file__).parent
pytestmark = pytest.mark.skipif(not shutil.which("yosys"), reason="needs yosys")


LONG = pytest.mark.long


@pytest.mark.parametrize(
    "core", ["reference", pytest.param("bytewide", marks=LONG), pytest.param("vhdl", marks=LONG)]
)
def test_status_register_of_shipped_cores_is_proved(core, tmp_path):
    """The status register part is proved for all inputs, and a second solver finds the same."""
    if core == "vhdl" and not shutil.which("ghdl"):
        pytest.skip("needs ghdl")
    shutil.copytree(STUBS / core, tmp_path / core)
    binding = tmp_path / core / "binding.yaml"
    done = cellstep("prove", binding if core == "vhdl" else status_alone(binding))
    assert done.returncode == 0, done.stdout + done.stderr
    first, _, second, *_ = done.stdout.splitlines()
    assert first.startswith("proved: ")
    assert first.endswith("for all inputs, in every cycle")
    assert second == "second opinion: bitwuzla finds the same"
    assert "never met" not in done.stdout


def defective(folder, name):
    """Write the reference core with a defect of the catalogue; return the binding that shows it."""
    defect = next(d for d in load_defects() if d.name == name)
    apply(defect, STUBS / "reference", folder)
    return status_alone(folder / "binding.yaml")


def test_refutation_is_a_scenario_that_simulators_confirm(tmp_path):
    """A refuted core comes with a scenario; every simulator shows the same first mismatch."""
    binding = defective(tmp_path / "core", "tie_resolved_the_other_way")
    done = cellstep("prove", binding, "--out", tmp_path / "out")
    assert done.returncode == 1, done.stdout + done.stderr
    proof = json.loads((tmp_path / "out/proof.json").read_text())
    assert proof["verdict"] == "refuted"
    assert proof["broken"] == ["byte_ready"]
    assert proof["length"] == 8  # a byte takes eight channel bits, one a cycle at the fastest
    assert proof["shortest"]
    assert proof["replayed"].endswith("the same first mismatch")
    again = cellstep("run", binding, "--suite", tmp_path / "out/refuted.yaml")
    assert again.returncode == 1
    assert "cycle 11" in again.stdout


def test_a_large_memory_leaves_the_verdict_bounded(tmp_path):
    """A core with a memory too large to look at bit by bit is not called proved."""
    binding = defective(tmp_path, "tie_resolved_the_other_way")
    core = tmp_path / "disk_regs.v"
    text = core.read_text()
    store = "reg [15:0] store [0:8191];\n always @(posedge clk) if (wr) store[din[12:0]] <= din;\n"
    core.write_text(text.replace("    // host\n    wire read_status", f"{store}wire read_status"))
    done = cellstep("prove", binding)
    assert done.returncode == 125
    assert done.stdout.startswith("bounded: ")
    assert "store has 131072 bits" in done.stdout


@pytest.mark.rest
def test_too_little_time_is_no_proof():
    """With the time over before induction ends, the verdict is bounded, and says how far it is."""
    done = cellstep("prove", STUBS / "reference/binding.yaml", "--seconds", "2")
    assert done.returncode == 125
    assert done.stdout.startswith("bounded: ")
    assert "the time, 2 s, was over" in done.stdout


@pytest.mark.long
def test_a_policy_the_core_has_not_is_refuted(tmp_path):
    """The core stays as it is, the model takes another choice: they differ where that matters."""
    shutil.copytree(STUBS / "reference", tmp_path / "core")
    binding = status_alone(tmp_path / "core/binding.yaml")
    done = cellstep("prove", binding, "--policy", "sync_view=registered")
    assert done.returncode == 1
    assert "sync_equal differs" in done.stdout


@pytest.mark.long
def test_scenario_of_a_refutation_is_plain_data(tmp_path):
    """What a proof writes is a scenario like any other, with nothing in it that is not needed."""
    binding = defective(tmp_path / "core", "writing_tied_low")
    cellstep("prove", binding, "--out", tmp_path)
    scenario = yaml.safe_load((tmp_path / "refuted.yaml").read_text())
    assert scenario["levels"]["writing"] == {"changes_at": [4]}
    assert scenario["host"]["params"]["accesses"] == []
