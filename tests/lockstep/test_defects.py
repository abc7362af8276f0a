"""Every defect of the catalogue is caught at the clause it names, on both simulators."""

import pytest

from hdl_stubs.defects import REFERENCE, apply, load_defects
from refmodel.host.scenario import load_suite
from testbenches.binding.schema import load_binding
from testbenches.lockstep import Lockstep

DEFECTS = load_defects()


@pytest.mark.parametrize("defect", DEFECTS, ids=lambda d: d.name)
def test_defect_is_caught(defect, simulator, tmp_path):
    """The suite finds the defect, and the first divergence it reports cites the defect's clause."""
    apply(defect, REFERENCE, tmp_path / "core")
    binding = load_binding(tmp_path / "core" / "binding.yaml")
    lockstep = Lockstep(binding, tmp_path / "work", seed=1, policies={})
    prepared = lockstep.prepare(load_suite("quick"), say=lambda _: None)
    outcomes = lockstep.run(prepared, lockstep.session(simulator), say=lambda _: None)
    findings = [outcome.finding for outcome in outcomes if outcome.finding]
    assert findings, "no scenario caught it"
    assert defect.clause == findings[0].cause.clause
    if defect.field is not None:
        assert defect.field == findings[0].divergence.field


def test_catalogue_covers_every_clause():
    """At least one defect waits for each clause of the status register."""
    assert {d.clause for d in DEFECTS} == {"B2", "B3", "B4", "B5", "B6", "B7", "B8", "B14"}
