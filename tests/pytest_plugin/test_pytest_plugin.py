"""The installed pytest plug-in: a fixture for tests beside the HDL, tried with pytest's own kit."""

import json
import shutil
from functools import partial
from importlib.metadata import entry_points

import pytest

from hdl_stubs.defects import REFERENCE, apply, load_defects
from refmodel.world.find import SCENARIOS
from testbenches.toolchain import available

pytest_plugins = ["pytester"]
DEFECTS = {defect.name: defect for defect in load_defects()}


long = partial(pytest.param, marks=pytest.mark.long)


@pytest.fixture
def beside(pytester):
    """Return a function that lays a core, a scenario and a test's text into pytest's folder."""
    if "icarus" not in available():
        pytest.skip("needs icarus")

    def lay(text, defect=None):
        folder = pytester.path / "rtl"
        if defect is None:
            shutil.copytree(REFERENCE, folder)
        else:
            apply(DEFECTS[defect], REFERENCE, folder)
        shutil.copy(SCENARIOS / "quick" / "sync_poll.yaml", folder / "mine.yaml")
        (folder / "test_core.py").write_text(text)
        return folder

    return lay


def test_plugin_is_an_entry_point_of_pytest():
    """Whoever installs Cellstep has the fixture: the package names it as pytest asks."""
    found = [point.value for point in entry_points(group="pytest11") if point.name == "cellstep"]
    assert ["testbenches.pytest_plugin"] == found


def test_right_core_passes(beside, pytester):
    """A test that only calls the fixture passes with a right core, and keeps nothing."""
    call = 'lockstep("binding.yaml", "mine.yaml")'
    beside(f"def test_mine(lockstep):\n    assert {call}.cycles_compared")
    done = pytester.runpytest_subprocess("--cellstep-sim", "icarus")
    done.assert_outcomes(passed=1)
    assert not (pytester.path / "cellstep-out").exists()


@pytest.mark.rest
def test_a_strict_run_fails_what_is_not_exercised(beside, pytester):
    """With --cellstep-strict a core that agrees fails the test when something did not move."""
    beside('def test_mine(lockstep):\n    lockstep("binding.yaml", "mine.yaml")')
    done = pytester.runpytest_subprocess("--cellstep-sim", "icarus", "--cellstep-strict")
    done.assert_outcomes(failed=1)
    done.stdout.fnmatch_lines(["*Not exercised: agreement says nothing about*"])


@pytest.mark.rest
def test_finding_is_the_failures_text(beside, pytester):
    """A defect fails the test with the report, no traceback, and leaves a page for each test."""
    text = """
import pytest

@pytest.mark.parametrize("name", ["sync_poll", "mine.yaml"])
def test_mine(lockstep, name):
    lockstep("binding.yaml", scenario=name if name.endswith("yaml") else f"quick/{name}")

def test_other():
    pass
"""
    beside(text, "sync_latched_until_read")
    done = pytester.runpytest_subprocess("--cellstep-sim", "icarus", "-n", "2")
    done.assert_outcomes(failed=2, passed=1)
    done.stdout.fnmatch_lines(
        ["First mismatch, sync_poll on icarus: sync_equal is 1*", "*clause    B3: *", "page *"]
    )
    assert "lockstep(" not in done.stdout.str()
    folders = sorted((pytester.path / "cellstep-out" / "pytest").iterdir())
    assert 2 == len(folders)
    for folder in folders:
        told = json.loads((folder / "result.json").read_text())
        assert "sync_equal" == told["runs"][0]["first_mismatch"]["field"]
        assert (folder / "report.html").exists()


@pytest.mark.long
def test_options_reach_the_run(beside, pytester):
    """Seed, policy and folder of the command line hold where the test does not say otherwise."""
    text = """
def test_seed(lockstep):
    assert 7 == lockstep("binding.yaml", "mine.yaml").seed
    assert 9 == lockstep("binding.yaml", "mine.yaml", seed=9, policies={"sync_view": "live"}).seed

def test_policy(lockstep):
    lockstep("binding.yaml", "mine.yaml")
"""
    beside(text)
    arguments = ("--cellstep-sim=icarus", "--cellstep-seed=7", "--cellstep-out=kept")
    done = pytester.runpytest_subprocess(*arguments, "-k", "seed")
    done.assert_outcomes(passed=1, deselected=1)
    wrong = pytester.runpytest_subprocess(
        *arguments, "-k", "policy", "--cellstep-policy=sync_view=registered"
    )
    wrong.assert_outcomes(failed=1, deselected=1)
    wrong.stdout.fnmatch_lines(["*policy sync_view=registered*"])
    assert ["rtl_test_core.py-test_policy"] == [p.name for p in (pytester.path / "kept").iterdir()]


@pytest.mark.rest
@pytest.mark.parametrize(
    ("call", "told"),
    [
        ('lockstep("bindin.yaml")', "*bindin.yaml*"),
        long('lockstep("binding.yaml", suite="quik")', "*did you mean 'quick'*"),
        long('lockstep("binding.yaml", "mine.yaml", suite="quick")', "*not both*"),
        long('lockstep("binding.yaml", "mine.yaml", policies={"tie": "x"})', "*tie*"),
    ],
)
def test_bad_input_fails_the_test_in_a_line(call, told, beside, pytester):
    """What cannot be run fails the test with the message of the command."""
    beside(f"def test_mine(lockstep):\n    {call}\n")
    done = pytester.runpytest_subprocess("--cellstep-sim=icarus")
    done.assert_outcomes(failed=1)
    done.stdout.fnmatch_lines([told])
    assert "Traceback" not in done.stdout.str()
