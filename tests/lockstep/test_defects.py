"""Every defect of the catalogue is caught at the clause it names, on both simulators."""

import pytest

from hdl_stubs.defects import REFERENCE, apply, load_defects

# By binding, the suite that must catch the defect
SUITES = {"binding.yaml": "quick", "binding_block.yaml": "block"}
DEFECTS = [defect for defect in load_defects() if defect.binding in SUITES]


@pytest.mark.parametrize("defect", DEFECTS, ids=lambda d: d.name)
def test_defect_is_caught(defect, outcomes, tmp_path):
    """The suite finds the defect, and the first divergence it reports cites the defect's clause."""
    apply(defect, REFERENCE, tmp_path / "core")
    binding, suite = tmp_path / "core" / defect.binding, SUITES[defect.binding]
    found = [o.finding for o in outcomes(binding, suite) if o.finding]
    assert found, "no scenario caught it"
    assert defect.clause == found[0].cause.clause
    if defect.field is not None:
        assert defect.field == found[0].divergence.field


def test_catalogue_covers_every_clause():
    """At least one defect waits for each clause that a core can break."""
    assert {f"B{n}" for n in range(2, 16)} == {d.clause for d in DEFECTS}
