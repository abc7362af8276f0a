"""`cellstep protect` as a user runs it."""

import xml.etree.ElementTree as ET

import pytest
from command import apart, cellstep
from formed import formed
from protect_cases import check_file

from hdl_stubs.defects import REFERENCE
from refmodel.protect.form import MatrixForm, ToleranceForm
from testbenches.toolchain import available

BINDING = REFERENCE / "binding.yaml"
FEW = ["--check", "second_read", "--check", "transfer_flags", "--host-speed", "slow"]


def protect(*arguments, run=cellstep, cwd=None):
    """Run the command in a wide terminal; return what it did."""
    return run("protect", *arguments, cwd=cwd, env={"COLUMNS": "200"})


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    """Run the reference core through two checks with the slow host, on every simulator."""
    out = tmp_path_factory.mktemp("protect") / "out"
    return protect(BINDING, *FEW, "--drive-speed=-1.5", "--seed", "3", "--out", out, run=apart), out


def test_reference_core_passes(good):
    """Originals are accepted, copies refused, and the exit status is 0."""
    done, _ = good
    assert done.returncode == 0, done.stderr
    files = "protect.json, junit.xml, report.txt, report.html"
    assert done.stderr.splitlines()[-1].endswith(f"out ({files})")
    runs = 4 * len(available())
    assert f"{runs} runs of the core, every verdict right" in done.stdout
    rows = [" ".join(line.split()) for line in done.stdout.splitlines()]
    runners = 1 + len(available())
    assert (
        f"7 second_read original {' '.join(['accept'] * runners)} still_up 0, bound 0 or less, +0"
        in rows
    )
    copied = f"12 transfer_flags copy {' '.join(['refuse'] * runners)} bytes "
    assert [row for row in rows if row.startswith(copied)]


def test_json_has_every_cell(good):
    """protect.json has a cell a run, with what was measured, the bounds and the margin."""
    data = formed(MatrixForm, (good[1] / "protect.json").read_text())
    assert data["runners"] == ["model", *available()]
    assert data["verdict"] == "agree"
    assert len(data["cells"]) == 4 * len(data["runners"])
    cell = data["cells"][0]
    assert (cell["check"], cell["disk"], cell["seed"]) == ("second_read", "original", 3)
    assert (cell["host_speed"], cell["drive_percent"]) == ("slow", -1.5)
    assert [m["measure"] for m in cell["measured"]] == ["still_up", "caught"]


def test_junit_has_a_case_a_run(good):
    """junit.xml counts the runs of each runner and no failure."""
    root = ET.parse(good[1] / "junit.xml").getroot()
    assert (root.get("tests"), root.get("failures")) == (str(4 * (1 + len(available()))), "0")
    assert [suite.get("tests") for suite in root] == ["4"] * (1 + len(available()))


def test_sensitivity_needs_no_simulator(tmp_path):
    """--sensitivity prints the table and writes it as JSON."""
    done = protect(BINDING, "--check", "second_read", "--sensitivity", "--out", tmp_path)
    assert done.returncode == 0, done.stderr
    rows = [line.split() for line in done.stdout.splitlines()]
    assert ["second_read", "sync_equal", "up", "too", "long", "6", "7", "original"] in rows
    assert f"wrote {tmp_path} (sensitivity.json, sensitivity.txt)\n" in done.stderr
    rows = formed(list[ToleranceForm], (tmp_path / "sensitivity.json").read_text())
    assert [(r["kind"], r["harmless"], r["harmful"]) for r in rows][-1] == ("long", 6, 7)


@pytest.mark.rest
def test_rates_are_those_of_as_many_disks():
    """--rates judges so many originals and copies, and bounds the rate that none wrong allows.

    None wrong of 20 leaves up to 13.9 % possible at 95 %: 1 - 0.05^(1/20), arithmetic.
    """
    done = protect(BINDING, "--check", "sync_window", "--rates", "20")
    assert done.returncode == 0, done.stderr
    rows = [line.split() for line in done.stdout.splitlines() if line.startswith("sync_window")]
    assert [row[1:4] for row in rows] == [["original", "20", "0"], ["copy", "20", "0"]]
    assert all("below 14 %" in " ".join(row) for row in rows)
    assert "40 verdicts, all right" in done.stdout


def test_a_rate_of_wrong_verdicts_ends_with_1(tmp_path):
    """A check the model itself cannot keep shows how often, the first seed, and ends with 1."""
    path = check_file(tmp_path, ("at_least: 1.02", "at_least: 1.05"))
    done = protect(BINDING, "--check", path, "--rates", "9")
    assert done.returncode == 1
    row = next(line.split() for line in done.stdout.splitlines() if line.startswith("plain"))
    assert 0 < int(row[3]) <= 9
    assert "verdicts wrong" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--rates", "0"], "Input should be greater than or equal to 1"),
        (["--check", "nothing"], "--check nothing: no such check; known: "),
        (["--class", "nothing"], "--class: is now called --check"),
        (["--host-speed", "quick"], "--host-speed quick: no such host; known: "),
        (["--seed", "-1"], "--seed -1: should be 0 or more"),
        (["--programs", "missing.py"], "missing.py: no such file"),
        (["--out", "file/folder"], "--out file/folder: cannot be written: Not a directory"),
        (["--drive-speed", "90"], "the drive speed of +90 % is not within -20 .. 20"),
    ],
)
def test_bad_input_ends_with_2(arguments, message, tmp_path):
    """What is wrong on the command line is one line, exit status 2."""
    (tmp_path / "file").touch()
    done = protect(BINDING, *arguments, cwd=tmp_path)
    assert done.returncode == 2
    assert message in done.stderr


def test_a_check_the_model_fails_is_the_checks_fault(tmp_path):
    """A bound the original itself breaks is bad input, told before any simulator starts."""
    path = check_file(tmp_path, ("at_least: 1.02", "at_least: 1.08"))
    done = protect(BINDING, "--check", path)
    assert done.returncode == 2
    assert "the model itself says refuse to plain/original/slow" in done.stderr
