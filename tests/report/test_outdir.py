"""The folder of results: whole files only, and earlier ones stay until the new are whole."""

import errno
import os

import pytest
from report_cases import finding, held, mismatch, outcome, suite

from refmodel.ground.errors import UserError
from refmodel.report import outdir
from refmodel.report.outdir import ResultFolder

GOOD = [suite(outcome("icarus"))]
BAD = [suite(mismatch("icarus", finding(core=held(480)), "a b/c"), outcome("verilator"))]


def names(folder):
    """Return the names of everything in a folder."""
    return sorted(path.name for path in folder.iterdir())


def write(folder, suites):
    """Write results."""
    with ResultFolder(folder) as results:
        results.write(suites)


def test_files_of_a_mismatch(tmp_path):
    """A mismatch leaves reports, waves and what `explain` needs, in a folder made for them."""
    write(tmp_path / "deep" / "out", BAD)
    assert [
        "junit.xml",
        "mismatch-a_b_c-icarus.vcd",
        "report.html",
        "report.txt",
        "result.json",
        "spans.jsonl",
    ] == names(tmp_path / "deep" / "out")


def test_stale_waves_go(tmp_path):
    """Waves of an earlier mismatch do not stay beside a result that has none."""
    write(tmp_path, BAD)
    (tmp_path / "notes.txt").write_text("mine")
    write(tmp_path, GOOD)
    assert [
        "junit.xml",
        "notes.txt",
        "report.html",
        "report.txt",
        "result.json",
        "spans.jsonl",
    ] == names(tmp_path)


def test_same_scenario_of_two_cores(tmp_path):
    """Two cores with waves of one name have a file each."""
    write(tmp_path, BAD + BAD)
    waves = [name for name in names(tmp_path) if name.endswith(".vcd")]
    assert ["mismatch-a_b_c-icarus-2.vcd", "mismatch-a_b_c-icarus.vcd"] == waves


def test_rerun_is_byte_equal(tmp_path):
    """The same results give the same bytes in every file."""
    write(tmp_path / "one", BAD)
    write(tmp_path / "two", BAD)
    for name in names(tmp_path / "one"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_report_has_no_colours(tmp_path, monkeypatch):
    """report.txt is plain text, whatever the terminal can show."""
    monkeypatch.setenv("FORCE_COLOR", "1")
    write(tmp_path, BAD)
    text = (tmp_path / "report.txt").read_text()
    assert "\x1b" not in text
    assert "First mismatch, a b/c on icarus" in text


def test_full_disk_keeps_earlier_results(tmp_path, monkeypatch):
    """When the disk is full midway, what was there stays and nothing half written does."""
    write(tmp_path, GOOD)
    before = (tmp_path / "result.json").read_bytes()

    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(outdir, "write_mismatch", full)
    with pytest.raises(OSError, match="No space left"):
        write(tmp_path, BAD)
    assert ["junit.xml", "report.html", "report.txt", "result.json", "spans.jsonl"] == names(
        tmp_path
    )
    assert before == (tmp_path / "result.json").read_bytes()


def test_nothing_is_left_of_a_run_that_failed(tmp_path):
    """A run that ends without results leaves no folder that was made for them."""
    with pytest.raises(KeyboardInterrupt), ResultFolder(tmp_path / "a" / "b"):
        raise KeyboardInterrupt
    assert [] == names(tmp_path)


def test_folder_that_cannot_be_written(tmp_path):
    """A file where the folder should be is found before anything runs."""
    (tmp_path / "out").write_text("a file")
    with pytest.raises(UserError, match=r"--out .*out: cannot be written: File exists"):
        ResultFolder(tmp_path / "out").__enter__()
    with pytest.raises(UserError, match="cannot be written: Not a directory"):
        ResultFolder(tmp_path / "out" / "deeper").__enter__()
