"""A run tells which events met at which distance, as data, on the page and in the terminal."""

import pytest
from changed_core import Core

from testbenches.toolchain import available

pytestmark = pytest.mark.skipif(not available(), reason="needs a simulator")
NEVER = "the end of a byte, never within 3 edges of the start of a reset"


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """Return a core that went through random accesses, with a reset midway, and what was said."""
    core = Core(tmp_path_factory.mktemp("met"), "reference", "binding.yaml")
    return core, core.run(sim=available()[0])


def test_result_has_each_pair_with_its_counts(run):
    """Pairs that met have a row a state, with a count for each distance they came at."""
    core, _ = run
    (rows,) = core.result["met"].values()
    ties = [r for r in rows if (r["first"], r["second"]) == ("byte", "read")]
    assert {"idle"} == {row["state"] for row in ties}
    assert {"-3", "-2", "-1", "0", "+1", "+2", "+3"} == set(ties[0]["at"])
    assert all(count > 0 for row in rows for count in row["at"].values())


def test_what_never_met_is_listed(run):
    """What never came, and what never came close, is under what is not compared."""
    core, done = run
    (missing,) = core.result["never_met"].values()
    assert {"first": "byte", "second": "reset", "distances": [0, 1, 2, 3]} in missing
    told = [gap["why"] for gap in core.result["not_compared"] if gap["subject"] == "met"]
    assert NEVER in told
    assert "a write of transfer" in told[0]
    assert NEVER in done.stdout
    assert "every distance of -3 to +3: " in done.stdout


def test_page_has_the_table(run):
    """The page shows every pair the core can make meet, with what never came as a dash."""
    core, _ = run
    page = (core.out / "report.html").read_text()
    assert "What met, and how far apart" in page
    assert '<th scope="row">the end of a byte</th><td>a read of status</td>' in page
