"""kill -9 at random moments: nothing is lost, nothing stays, and the next run is right.

A victim is the command itself, the worker that builds, a tool of the build, or the simulator.
"""

import json
import os
import random
import signal
import subprocess
import time
from pathlib import Path

import pytest
from command import COMMAND

from testbenches.toolchain import cache_folder

MARK = "CELLSTEP_TEST_MARK"  # in the environment of everything a command starts
VICTIMS = ("command", "simulator", "any")
LONGEST = 60  # seconds until all is over


class Victim:
    """A command with a cache and a folder for temporary files of its own, to be killed at."""

    def __init__(self, core, folder, simulator):
        self.mark = f"{os.getpid()}-{folder.name}"
        self.cache = folder / "cache" / "cellstep"
        self.temporary = folder / "tmp"
        self.cache.mkdir(parents=True)
        self.temporary.mkdir()
        library = cache_folder() / "runtime"
        library.mkdir(parents=True, exist_ok=True)
        (self.cache / "runtime").symlink_to(library)
        self.core = core
        self.words = [*COMMAND, *map(str, core.words(suite="quick/random", sim=simulator))]
        self.environment = {
            **os.environ,
            MARK: self.mark,
            "XDG_CACHE_HOME": str(folder / "cache"),
            "TMPDIR": str(self.temporary),
        }

    def start(self):
        """Start the command."""
        quiet = subprocess.DEVNULL
        return subprocess.Popen(self.words, env=self.environment, stdout=quiet, stderr=quiet)

    def run(self):
        """Run it to its end; return its exit status, and how long it took."""
        began = time.monotonic()
        return self.start().wait(LONGEST), time.monotonic() - began

    def processes(self):
        """Return the processes that have the command's mark, the command itself among them."""
        found = []
        for path in Path("/proc").glob("[0-9]*/environ"):
            try:
                if f"{MARK}={self.mark}".encode() in path.read_bytes().split(b"\0"):
                    found.append(int(path.parent.name))
            except OSError:
                continue
        return found

    def kill(self, command, who, rng):
        """Kill one process; return whether it was the command."""
        others = [p for p in self.processes() if p != command.pid]
        if who == "simulator":
            others = [p for p in others if _name_of(p) in ("vvp", "python3", "python")] or others
        chosen = command.pid if who == "command" or not others else rng.choice(others)
        try:
            os.kill(chosen, signal.SIGKILL)
        except ProcessLookupError:
            return False
        return chosen == command.pid

    def forget_builds(self):
        """Empty the cache, so that the next run builds."""
        subprocess.run(["rm", "-rf", self.cache / "builds"], check=True)


def _name_of(process):
    try:
        return Path(f"/proc/{process}/comm").read_text().strip()
    except OSError:
        return ""


def wait_for_none(victim):
    """Wait until nothing that a command has started is left."""
    end = time.monotonic() + LONGEST
    while left := victim.processes():
        assert time.monotonic() < end, f"still there: {[(p, _name_of(p)) for p in left]}"
        time.sleep(0.05)


def whole_verdict(core):
    """Return the verdict in the result folder, all of whose files are whole."""
    told = core.result
    assert (core.out / "report.html").read_text().rstrip().endswith("</html>")
    assert (core.out / "junit.xml").read_text().rstrip().endswith("</testsuites>")
    assert json.dumps(told)
    return told["verdict"]


def survives(victim, core, who, rng, whole):
    """Kill at a random moment of a run; check what is left, and the run after it."""
    if rng.random() < 0.5:
        victim.forget_builds()
    command = victim.start()
    time.sleep(rng.uniform(0.05, whole))
    was_command = victim.kill(command, who, rng)
    status = command.wait(LONGEST)
    assert status in ((-signal.SIGKILL, 0) if was_command else (0, 2, 125)), (who, status)
    wait_for_none(victim)
    assert whole_verdict(core) in (("agree",) if was_command else ("agree", "error")), who
    assert 0 == victim.run()[0], who
    assert "agree" == whole_verdict(core)
    assert [] == list(victim.temporary.iterdir())


def killed(core, folder, simulator, kills, seed):
    """Kill so many times, a victim of each kind in turn."""
    made = core()
    victim = Victim(made, folder, simulator)
    rng = random.Random(seed)
    status, whole = victim.run()
    assert 0 == status
    for n in range(kills):
        survives(victim, made, VICTIMS[n % len(VICTIMS)], rng, whole)


@pytest.mark.rest
def test_a_few_kills_lose_nothing(core, tmp_path):
    """Results are whole, no process and no folder stays, and the next run agrees."""
    killed(core, tmp_path, "icarus", 3, 1)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(4))
def test_many_kills_lose_nothing(core, tmp_path, simulator, seed):
    """The same, 20 times on each simulator, while it builds and while it runs."""
    killed(core, tmp_path, simulator, 5, seed)
