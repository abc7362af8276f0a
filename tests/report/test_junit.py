"""junit.xml: held against the form pytest writes, which CI viewers take."""

import subprocess
import sys
import xml.etree.ElementTree as ET

import pytest
from report_cases import SKIP, finding, held, mismatch, outcome, suite

from refmodel.report.junit import to_junit

TESTS = """
import pytest
def test_passes(): pass
def test_fails(): assert 0
@pytest.mark.parametrize("n", [1, 2])
def test_skips(n): pytest.skip("no")
@pytest.mark.parametrize("n", [1, 2, 3])
def test_errs(n, missing_fixture): pass
"""


@pytest.fixture(scope="module")
def pytest_form(tmp_path_factory):
    """Have pytest report a test that passes, one that fails, two skipped and three errors."""
    folder = tmp_path_factory.mktemp("junit")
    (folder / "test_each.py").write_text(TESTS)
    subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "--junitxml=out.xml"],
        cwd=folder,
        stdout=subprocess.DEVNULL,
        check=False,
    )
    return ET.parse(folder / "out.xml").getroot()


@pytest.fixture
def ours():
    """Our report of runs of the same verdicts."""
    said = "icarus: ended by itself\n  \x1b[1mlog\x00"
    errors = [outcome("icarus", f"crash{n}", "error", note=said) for n in range(3)]
    skipped = [outcome("icarus", f"words{n}", "skipped", note=SKIP) for n in range(2)]
    failed = mismatch("icarus", finding(core=held(480)), "latched")
    return ET.fromstring(to_junit([suite(outcome("icarus"), failed, *skipped, *errors)]).encode())


def form(root):
    """Return the elements and their nesting, with their attributes."""
    return {
        (parent.tag, child.tag): set(child.attrib) for parent in root.iter() for child in parent
    }


def test_form_is_pytests(pytest_form, ours):
    """Elements nest as in pytest's report, and have no attribute that pytest's have not."""
    theirs, found = form(pytest_form), form(ours)
    assert set(theirs) == set(found)
    for place, attributes in found.items():
        assert attributes - {"type"} <= theirs[place]


def test_counts(pytest_form, ours):
    """The counts are those pytest gives for tests of the same verdicts."""
    for name in ("tests", "failures", "errors", "skipped"):
        assert pytest_form.find("testsuite").get(name) == ours.find("testsuite").get(name)
        assert pytest_form.find("testsuite").get(name) == ours.get(name)


def test_texts(ours):
    """A failure has the mismatch in full, a skipped case its reason, an error what was said."""
    failure, skipped, error = (ours.find(f".//{tag}") for tag in ("failure", "skipped", "error"))
    assert "sync_equal is 1 where the model says 0" == failure.get("message")
    lines = failure.text.splitlines()
    assert lines[1:4] == [
        "when      cycle 472, 66.537 us",
        "where     revolution 1, raw words, bit 0 of word 2 (bit 32 of the track)",
        "field     sync_equal, status bit 12",
    ]
    assert "reproduce cellstep run core/binding.yaml --sim icarus" == lines[-1]
    assert SKIP == skipped.get("message")
    assert ("icarus: ended by itself", "?[1mlog?") == (
        error.get("message"),
        error.text.splitlines()[1].strip(),
    )


def test_a_suite_for_each_simulator():
    """Each core has a test suite for each simulator it ran on, with its own cases."""
    root = ET.fromstring(to_junit([suite(outcome("icarus"), outcome("verilator"))]).encode())
    assert ["core/binding.yaml icarus", "core/binding.yaml verilator"] == [
        found.get("name") for found in root
    ]
    assert [1, 1] == [len(found) for found in root]
