"""`cellstep prove OLD --against NEW`: two versions of a core, equal at what their bindings show."""

import json
import shutil
from pathlib import Path

import pytest
from command import cellstep
from status_alone import status_alone

import hdl_stubs
from hdl_stubs.defects import apply, load_defects
from refmodel.prove.verdict import PROVED, REFUTED
from testbenches.prove.attempt import Effort
from testbenches.prove.prover import prove_against

REFERENCE = Path(hdl_stubs.__file__).parent / "reference"
pytestmark = pytest.mark.skipif(not shutil.which("yosys"), reason="needs yosys")


def changed(folder, file, old, new):
    """Write the reference core with one text in place of another; return its binding."""
    shutil.copytree(REFERENCE, folder)
    text = (folder / file).read_text()
    assert text.count(old) == 1
    (folder / file).write_text(text.replace(old, new))
    return folder / "binding.yaml"


@pytest.fixture(scope="module")
def alone(tmp_path_factory):
    """Return the binding of the reference core's status register alone."""
    folder = shutil.copytree(REFERENCE, tmp_path_factory.mktemp("old") / "core")
    return status_alone(folder / "binding.yaml")


def test_a_rewritten_core_is_proved_equal(tmp_path, alone):
    """A counter that counts down instead of up is another circuit, and shows the same."""
    new = changed(
        tmp_path / "new",
        "byte_framer.v",
        "wire byte_end = bit_stb && bit_count == LAST_BIT;",
        "wire byte_end = bit_stb && &bit_count;",
    )
    done = cellstep("prove", alone, "--against", status_alone(new))
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.startswith("proved: ")
    assert "second opinion: bitwuzla finds the same" in done.stdout
    assert "read.data" in done.stdout


def test_registers_of_another_form_are_matched_without_help(tmp_path, alone):
    """A flag that is kept inverted has no twin of its name that is equal; its opposite is found."""
    new = changed(
        tmp_path / "new",
        "disk_regs.v",
        "assign status[BYTE_READY] = byte_ready;",
        "reg empty;\n    always @(posedge clk) empty <= rst || !byte_ready_next;\n"
        "    assign status[BYTE_READY] = !empty;",
    )
    proof = prove_against(alone, status_alone(new), Effort(seconds=60))
    assert proof.verdict.verdict == PROVED


@pytest.mark.rest
def test_a_version_that_differs_is_refuted_and_replayed(tmp_path, alone):
    """The new version is shown wrong by a run that simulators show, too."""
    defect = next(d for d in load_defects() if d.name == "sync_lasts_a_cycle")
    apply(defect, REFERENCE, tmp_path / "new")
    binding = status_alone(tmp_path / "new" / "binding.yaml")
    out = tmp_path / "out"
    done = cellstep("prove", alone, "--against", binding, "--out", out)
    assert done.returncode == 1, done.stdout + done.stderr
    proof = json.loads((out / "proof.json").read_text())
    assert (proof["broken"], proof["length"], proof["shortest"]) == (["sync_equal"], 2, True)
    assert proof["replayed"].endswith("the same first mismatch")


def test_a_wrong_core_equals_itself(tmp_path):
    """What the model says is not asked: a core with a defect is equal to the same core."""
    defect = next(d for d in load_defects() if d.name == "ready_is_a_pulse")
    apply(defect, REFERENCE, tmp_path / "core")
    binding = status_alone(tmp_path / "core" / "binding.yaml")
    assert prove_against(binding, binding, Effort(seconds=60)).verdict.verdict == PROVED


@pytest.mark.rest
@pytest.mark.parametrize(
    "core",
    [
        "reference",
        "bytewide",
        "drive",
        "plain/registered",
        pytest.param("plain/one_data_bus", marks=pytest.mark.long),
    ],
)
def test_a_core_equals_itself_by_the_names_of_its_registers(core):
    """The whole block too: what no reset sets begins alike, and the verdict lists that."""
    binding = REFERENCE.parent / core / "binding.yaml"
    verdict = prove_against(binding, binding, Effort(seconds=60, second=False)).verdict
    assert verdict.verdict == PROVED
    if core == "reference":
        assert "what reset leaves alone begins alike in registers of one name" in verdict.assumed


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("read_latency: 0", "read_latency: 1", "the bus is not that of"),
        ("observe: {status: status}", "observe: {status: status}\nlatency: {data: 1}", "latency"),
        ("sync_word: 0x8, ", "", "the bus is not that of"),
        ("cycles: 4", "cycles: 6", "the length of the first reset"),
    ],
)
def test_bindings_that_answer_in_other_cycles_are_told_apart(tmp_path, old, new, said):
    """Two bindings whose accesses do not last alike cannot be held against one another."""
    binding = changed(tmp_path / "new", "binding.yaml", old, new)
    done = cellstep("prove", REFERENCE / "binding.yaml", "--against", binding)
    assert done.returncode == 2, done.stdout + done.stderr
    assert str(binding) in done.stderr
    assert said in done.stderr
    assert REFUTED not in done.stdout
