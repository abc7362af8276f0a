"""Every defect of the catalogue is refuted, and simulators show what the proof has found."""

import shutil

import pytest

from hdl_stubs.defects import load_defects
from refmodel.prove.verdict import REFUTED
from testbenches.prove.catalogue import refute

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(not shutil.which("yosys"), reason="needs yosys"),
]


@pytest.mark.parametrize("defect", load_defects(), ids=lambda defect: defect.name)
def test_defect_is_refuted_by_a_run_that_simulators_confirm(defect, tmp_path):
    """Every simulator shows the same first mismatch in the same cycle, at the entry's clause."""
    found = refute(defect, tmp_path / "core")
    assert found.verdict.verdict == REFUTED
    assert found.differs == ""
    assert {*found.clauses.values()} == {defect.clause}
