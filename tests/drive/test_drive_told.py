"""What the reports of a run with drives tell: registers written, rules broken."""

import json
from pathlib import Path

from command import cellstep

import refmodel
from hdl_stubs.defects import HERE
from refmodel.drive.rules import RULES, Violation

SCENARIOS = Path(refmodel.__file__).parent / "scenarios"
GOOD = HERE / "drive" / "binding.yaml"
WRITES = """\
name: short_write
track: {layout: random, bits: 30000}
revolutions: 1
drives: {units: [{select: 0, turning: true, angle: 0.87}]}
host: {program: format_and_read, params: {words: 300, sectors: 0, tail: 1500}}
"""


def run(folder, text, *more):
    """Run a scenario on the shipped core; return the command's end, its result and its page."""
    path, out = folder / "scenario.yaml", folder / "out"
    path.write_text(text)
    done = cellstep("run", GOOD, "--suite", path, "--out", out, "--sim", "icarus", *more)
    return done, json.loads((out / "result.json").read_text()), (out / "report.html").read_text()


def test_registers_the_program_writes_count_as_written(tmp_path):
    """A register the host program writes in a run with drives is not called never written."""
    for more in ((), ("--live",)):
        _, result, _ = run(tmp_path, WRITES, *more)
        unsaid = {one["subject"]: one["why"] for one in result["not_exercised"]}
        assert result["moves_compared"] == 300  # so the transfer was started
        assert "register transfer" not in unsaid
        assert unsaid["register sync_word"] == "never written"  # this one the program leaves alone


def test_the_quiet_line_and_the_page_name_the_broken_rule(tmp_path):
    """A run that breaks a rule: the quiet line and the head of the page name it, and where."""
    bump = (SCENARIOS / "hazard" / "bump.yaml").read_text()
    done, result, page = run(tmp_path, bump, "--quiet")
    assert done.returncode == 1
    (found,) = result["runs"]
    head = page.partition("<h1 ")[2].partition('<p class="quiet"')[0]
    for broken in {one["rule"]: one for one in reversed(found["rules_broken"])}.values():
        named = f"{broken['rule']} ({found['scenario']}, cycle {broken['cycle']})"
        assert named in done.stdout
        assert named in head
    assert all(line.endswith(".") for line in found["note"].splitlines())


def test_figures_are_told_where_they_differ():
    """A rule that is no matter of more or less has no figures in its sentence."""
    assert "measured" not in Violation("gate_protected", 5, 1, 0.0, 0.0).described
    assert "measured 0.5 us, required 1 us;" in Violation("step_width", 5, 1, 0.5, 1.0).described
    assert RULES["step_width"].unit == "us"
