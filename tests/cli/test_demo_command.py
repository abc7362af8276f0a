"""`cellstep demo`: what it shows, and when it says that something is wrong.

A short scenario stands in for the whole suite of the first part; `make demo` runs that.
"""

import re
import shutil
from pathlib import Path

import pytest
from cli_cases import needs_icarus
from typer.testing import CliRunner

from hdl_stubs.defects import load_defects
from refmodel.cli.main import app
from testbenches import demo, suite

pytestmark = needs_icarus
ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.fixture
def shown(monkeypatch, tmp_path):
    """Return a function that runs the demonstration from another folder."""
    monkeypatch.setattr(demo, "SUITE", "quick/sync_poll")
    monkeypatch.chdir(tmp_path)
    return lambda *options: CliRunner().invoke(app, ["demo", *options])


def test_demo(shown, tmp_path):
    """The reference agrees, the defect is reported at its clause, and both results are kept."""
    done = shown("--out", "cellstep-out/demo")
    assert 0 == done.exit_code
    parts = [done.output.index(text) for text in ("First the", "agree: ", "Now a", "First mis")]
    assert sorted(parts) == parts
    assert "  clause    B3: " in done.output
    assert "against B3, and the report says B3: caught.\n" in done.output
    kept = "cellstep-out/demo"
    assert done.output.endswith(f"{kept}/reference/report.html and {kept}/defect/report.html\n")
    out = tmp_path / kept
    assert (out / "defect" / "report.html").exists()
    assert {"reference", "defect", "core"} == {path.name for path in out.iterdir()}
    assert (out / "core" / "binding.yaml").exists()
    assert (out / "defect" / "mismatch-sync_poll-icarus.vcd").exists()
    as_the_readme_shows_it(done.output)
    as_the_readme_draws_it(out / "defect", tmp_path / "now.svg")


def as_the_readme_shows_it(output):
    """Hold the README's mismatch to the demonstration's, line for line."""
    block = re.search(r"(?:^    .*\n)+", README.partition("First mismatch")[2], re.MULTILINE)
    lines = [line.strip() for line in block[0].splitlines() if "reproduce" not in line]
    assert len(lines) > 15  # the block was found
    assert [] == [line for line in lines if line not in output]


def as_the_readme_draws_it(results, now):
    """Hold the README's drawing to the same mismatch; `explain --svg` writes it anew."""
    asked = ["explain", str(results), "--around", "mismatch:1", "--svg", str(now)]
    assert 0 == CliRunner().invoke(app, asked).exit_code
    drawing = ROOT / "docs" / "mismatch.svg"
    assert f"]({drawing.relative_to(ROOT)})" in README
    assert drawing.read_text() == now.read_text(), f"write {drawing} anew: {' '.join(asked)}"


@pytest.mark.rest
def test_defect_that_is_not_caught(shown, monkeypatch):
    """A defect that is missed is reported as not caught, and the demonstration ends in 1."""
    monkeypatch.setattr(suite, "simulators", lambda _: ["icarus"])
    monkeypatch.setattr(demo, "apply", lambda _, source, target: shutil.copytree(source, target))
    done = shown()
    assert 1 == done.exit_code
    assert "the report does not say so: NOT caught." in done.output


@pytest.mark.rest
def test_reference_that_does_not_agree(shown, monkeypatch, tmp_path):
    """A reference core that is wrong ends the demonstration in 1, before the defect."""
    monkeypatch.setattr(suite, "simulators", lambda _: ["icarus"])
    worse = next(d for d in load_defects() if d.name == "data_resets_to_ones")
    demo.apply(worse, demo.REFERENCE, tmp_path / "worse")
    monkeypatch.setattr(demo, "REFERENCE", tmp_path / "worse")
    done = shown()
    assert 1 == done.exit_code
    assert "First mismatch" in done.output
    assert "Now a copy" not in done.output


def test_defect_exists():
    """The defect shown is in the catalogue, with the clause the demonstration waits for."""
    assert "B3" == next(d.clause for d in load_defects() if d.name == demo.DEFECT)
