"""A late field may show its reset value as soon as a reset begins, or what was under way (B14)."""

import pytest
from late_status import RIGHT, WRONG, late_status


@pytest.mark.share(3)
@pytest.mark.share(2)
@pytest.mark.parametrize("in_reset", RIGHT.values(), ids=RIGHT)
def test_a_late_word_that_reset_clears_agrees_as_one_that_is_passed_on(
    outcomes, tmp_path, in_reset
):
    """Whether reset clears the registers that make a field late is the core's own business."""
    (found,) = outcomes(late_status(tmp_path / "core", in_reset), "aimed/dense_status")
    assert (found.verdict, found.finding, found.reads > 1000) == ("agree", None, True)
    assert found.fields["sync_found"].changes > 50


@pytest.mark.share(4)
@pytest.mark.share(2)
@pytest.mark.parametrize("in_reset", WRONG.values(), ids=WRONG)
def test_any_other_late_word_in_reset_is_a_mismatch_that_names_the_reset(
    outcomes, tmp_path, in_reset
):
    """A word kept through reset and a bit that reset sets are found where the reset begins."""
    (found,) = outcomes(late_status(tmp_path / "core", in_reset), "quick/random")
    assert found.verdict == "mismatch"
    begins = found.finding.shown.stimulus.reset_begins[-1]
    assert begins <= found.finding.mismatch.cycle <= begins + 1
    assert f"a reset begins in cycle {begins}" in found.finding.symptoms[0]
