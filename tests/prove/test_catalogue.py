"""Every defect of the status register is refuted, and simulators show what the proof has found."""

import shutil
from pathlib import Path

import pytest
from status_alone import status_alone

import hdl_stubs
from hdl_stubs.defects import apply, load_defects
from refmodel.prove.verdict import REFUTED
from testbenches.prove.attempt import Effort
from testbenches.prove.prover import prove_binding
from testbenches.prove.replay import replayed

REFERENCE = Path(hdl_stubs.__file__).parent / "reference"
STATUS_DEFECTS = [d for d in load_defects() if d.suite == "quick"]

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(not shutil.which("yosys"), reason="needs yosys"),
]


@pytest.mark.parametrize("defect", STATUS_DEFECTS, ids=lambda defect: defect.name)
def test_defect_is_refuted_by_a_run_that_simulators_confirm(defect, tmp_path):
    """The run is short, and every simulator shows the same first mismatch in the same cycle."""
    apply(defect, REFERENCE, tmp_path / "core")
    binding = status_alone(tmp_path / "core" / "binding.yaml")
    proof = prove_binding(binding, {}, Effort(seconds=60))
    assert proof.verdict.verdict == REFUTED
    assert proof.verdict.length <= 20
    _, differs = replayed(proof, binding, {}, None)
    assert differs == ""
