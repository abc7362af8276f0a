"""A hunt that is killed loses nothing that it has told its history, and leaves nothing running."""

import os
import random
import signal
import sqlite3
import subprocess
import time
from pathlib import Path

import pytest
from command import COMMAND

from hdl_stubs.defects import HERE
from refmodel.report.history import UNFINISHED, History

BINDING = HERE / "plain/registered/binding.yaml"
KILLS = 20
LATER = 5  # so many kills have one among them that waits until a part has been told


def children(process):
    """Return the processes a process has started, and those they have."""
    found = []
    waiting = [process.pid]
    while waiting:
        tasks = Path(f"/proc/{waiting.pop()}/task")
        for task in tasks.iterdir() if tasks.exists() else ():
            own = [int(pid) for pid in (task / "children").read_text().split()]
            found += own
            waiting += own
    return found


def is_running(pid):
    """Return whether a process is there and no zombie."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def started(path):
    """Start a hunt that goes on until it is killed."""
    words = ("hunt", BINDING, "--history", path, "--seconds", "600", "--sim", "icarus")
    return subprocess.Popen(
        [*COMMAND, *map(str, words), "--workers", "2"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )


def runs_of(path):
    """Return the runs of a history that SQLite finds whole."""
    with sqlite3.connect(path) as file:
        assert ("ok",) == file.execute("pragma integrity_check").fetchone()
    history = History(path, pytest.fail)
    found = history.runs()
    history.close()
    return found


@pytest.mark.long
def test_killed_twenty_times_in_mid_hunt(tmp_path):
    """The history is whole each time, and each hunt goes on behind the seeds of those before."""
    path = tmp_path / "runs.sqlite"
    rng, cases = random.Random(1), 0
    for number in range(1, KILLS + 1):
        process = started(path)
        while not path.exists() or len(runs_of(path)) < number:
            assert process.poll() is None, "it ended by itself"
            time.sleep(0.1)
        time.sleep(rng.uniform(0.0, 6.0))
        while number % LATER == 0 and sum(run.cases for run in runs_of(path)) == cases:
            assert process.poll() is None, "it ended by itself"
            time.sleep(0.1)  # on a busy machine a part takes longer than that
        below = children(process)
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        runs = runs_of(path)
        assert number == len(runs)
        assert all(run.verdict == UNFINISHED for run in runs)
        seeds = [seed for run in runs for seed in range(run.seed, run.seed + run.cases)]
        assert list(range(1, len(seeds) + 1)) == seeds
        assert len(seeds) >= cases
        cases = len(seeds)
        end = time.monotonic() + 30
        while any(map(is_running, below)):
            assert time.monotonic() < end, "a process is left"
            time.sleep(0.1)
    assert cases > 0
