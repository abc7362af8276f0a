"""Closed streams, a full device and a bad place for work files: told once, and no wrong status."""

import subprocess

import pytest
from cli_cases import core, needs_icarus
from command import COMMAND, cellstep

from hdl_stubs.defects import REFERENCE

RUN = [REFERENCE / "binding.yaml", "--suite", "quick/sync_poll", "--sim", "icarus"]
ONES = ("data      <= 8'h00;", "data      <= 8'hff;")


def shell(*words, streams):
    """Run the command by a shell that closes or leads away its streams."""
    line = f'exec "$@" {streams}'
    given = ["sh", "-c", line, "sh", *COMMAND, *map(str, words)]
    return subprocess.run(given, capture_output=True, text=True, check=False, timeout=100)


@pytest.mark.share(3)
@needs_icarus
@pytest.mark.parametrize(
    "streams",
    [
        *(pytest.param(one, marks=pytest.mark.long) for one in (">&-", "2>&-", "<&-")),
        ">&- 2>&- <&-",
    ],
)
def test_closed_streams_leave_the_status(streams, tmp_path):
    """With nowhere to print, the exit status still tells agreement from a mismatch."""
    done = shell("run", *RUN, streams=streams)
    assert (0, "") == (done.returncode, done.stderr.strip() if "2>" not in streams else "")
    bad = core(tmp_path / "core", byte_framer=ONES)
    assert 1 == shell("run", bad, *RUN[1:], streams=streams).returncode


def test_help_to_a_closed_stream():
    """Nothing but the status comes of help nobody can read."""
    done = shell("--help", streams=">&-")
    assert (0, "", "") == (done.returncode, done.stdout, done.stderr)


def test_full_device_is_told_once():
    """A device that takes nothing is reported in one line."""
    done = shell("doctor", streams=">/dev/full")
    assert (2, "cellstep: disk full\n") == (done.returncode, done.stderr)


def test_full_device_that_a_file_is_written_to_is_named():
    """The message says which file the disk had no room for."""
    done = cellstep("trace", "quick/sync_poll", "--out", "/dev/full")
    assert (2, "cellstep: /dev/full: disk full") == (done.returncode, done.stderr.splitlines()[-1])


@needs_icarus
def test_a_place_for_work_files_that_is_not_there(tmp_path):
    """Where TMPDIR leads nowhere, simulators work in the place that Python finds instead."""
    done = cellstep("run", *RUN, env={"TMPDIR": str(tmp_path / "none")})
    assert (0, "") == (done.returncode, done.stderr)


@pytest.mark.rest
@needs_icarus
def test_what_to_look_at_when_reset_shows_a_wrong_value(tmp_path):
    """The report asks for the binding's reset, and in a suite for what a scenario leaves behind."""
    bad = core(tmp_path / "core", byte_framer=ONES)
    alone = cellstep("run", bad, *RUN[1:]).stdout
    suite = cellstep("run", bad, "--suite", "quick", "--sim", "icarus").stdout
    asked = "  look at   does the binding's reset name the right port and level?\n"
    assert asked in alone
    assert asked in suite
    assert "agree when it runs alone?" in suite
    assert "agree when run alone?" not in alone
