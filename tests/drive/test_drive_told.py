"""What the reports of a run with drives tell: registers written, rules broken."""

import json
from pathlib import Path

import pytest
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


@pytest.mark.rest
def test_registers_the_program_writes_count_as_written(tmp_path):
    """A register the host program writes in a run with drives is not called never written."""
    for more in ((), ("--live",)):
        _, result, _ = run(tmp_path, WRITES, *more)
        unsaid = {one["subject"]: one["why"] for one in result["not_exercised"]}
        assert result["moves_compared"] == 300  # so the transfer was started
        assert "register transfer" not in unsaid
        assert unsaid["register sync_word"] == "never written"  # this one the program leaves alone


LOSES = """\
name: loses_steps
track: {layout: random, bits: 30000}
revolutions: 1
drives:
  link: {speed: 400000, banks: [[step], [ready]]}
  units: [{select: 0, turning: true}]
programs: [steps.py]
host: {program: steps}
"""
STEPS = """\
from refmodel.host.program import Wait, Write


def steps():
    for held in (10, 5000):
        for line in (0x71, 0x51):  # select_0, motor, direction, and step for so many cycles
            yield Write("drive_lines", line, cost=8)
            yield Wait(held if line == 0x71 else 30_000)
"""


def test_step_pulses_that_the_link_loses_are_told(tmp_path):
    """One of two step pulses is shorter than a transfer: what agrees says so, strict runs fail."""
    (tmp_path / "steps.py").write_text(STEPS)
    done, result, _ = run(tmp_path, LOSES, "--quiet")
    assert done.returncode == 0, done.stderr
    assert [{"step": 1}] == [one["lost_pulses"] for one in result["runs"]]
    unsaid = {one["subject"]: one["why"] for one in result["not_exercised"]}
    assert "1 pulse lost on the link in a run" in unsaid["line step"]
    assert "line step" in done.stdout


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
