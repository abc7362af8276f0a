"""A proof, too, leaves it to the core whether reset clears the registers that make status late."""

import shutil

import pytest
from command import cellstep
from late_status import RIGHT, WRONG, late_status

pytestmark = pytest.mark.skipif(not shutil.which("yosys"), reason="needs yosys")


@pytest.mark.share(3)
@pytest.mark.share(3)
@pytest.mark.parametrize("in_reset", RIGHT.values(), ids=RIGHT)
def test_both_forms_of_a_late_word_are_proved(tmp_path, in_reset):
    """The words, the lines and what reads return are proved of either."""
    done = cellstep("prove", late_status(tmp_path / "core", in_reset))
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.startswith("proved: ")


@pytest.mark.share(8)
@pytest.mark.share(3)
@pytest.mark.parametrize("in_reset", WRONG.values(), ids=WRONG)
def test_any_other_late_word_in_reset_is_refuted(tmp_path, in_reset):
    """A word kept in reset and a bit that reset sets have a counterexample."""
    done = cellstep("prove", late_status(tmp_path / "core", in_reset))
    assert done.returncode == 1, done.stdout + done.stderr
