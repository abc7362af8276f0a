"""Simulators that loop are ended, and none outlives its command."""

import os
import signal
import subprocess
import time
from pathlib import Path

import pytest
from command import COMMAND, apart

EQUAL = "assign sync_equal = SYNC_COMPARE == ALWAYS ? equal : matched;"
LOOPS = {
    "no_delay": "reg z = 0; always @(posedge clk) if (window == 16'h4489) z <= 1;\n"
    'always @(z) while (z) if ($time == 1) $display("never");',
    "printing": "reg z = 0; always @(posedge clk) if (window == 16'h4489) z <= 1;\n"
    'always @(z) while (z) $display("loop");',
}


def looping(core, how):
    """Return the reference core with a loop that never lets time pass."""
    return core().change("sync_window.v", (EQUAL, f"{EQUAL}\n{LOOPS[how]}"))


@pytest.mark.rest
@pytest.mark.parametrize(
    "simulator",
    ["icarus", pytest.param("verilator", marks=pytest.mark.long)],
    indirect=True,
)
@pytest.mark.parametrize("how", ["no_delay", pytest.param("printing", marks=pytest.mark.long)])
def test_a_loop_that_lets_no_time_pass_is_ended(core, how, simulator):
    """A simulator that works for seconds while its time stands still is ended, and that is said."""
    began = time.monotonic()
    done = looping(core, how).run(suite="quick/sync_poll", sim=simulator)
    assert 125 == done.returncode
    assert "simulated time has not moved" in done.stdout
    assert time.monotonic() - began < 115  # the limit of time before took 122 s


@pytest.mark.share(2)
@pytest.mark.parametrize(
    ("number", "said"),
    [
        (signal.SIGHUP, "hung up"),
        (signal.SIGQUIT, "stopped"),
        (signal.SIGTERM, "terminated"),
        (signal.SIGKILL, ""),
    ],
)
def test_no_simulator_outlives_its_command(core, tmp_path, number, said):
    """Whatever ends the command ends its simulators; what it leaves is swept by the next one."""
    made = looping(core, "no_delay")
    temporary = tmp_path / "tmp"
    temporary.mkdir()
    words = (*COMMAND, *map(str, made.words(suite="quick/sync_poll")))
    environment = {**os.environ, "TMPDIR": str(temporary)}
    running = subprocess.Popen(words, stderr=subprocess.PIPE, text=True, env=environment)
    simulators = _wait_for(lambda: [p for p in _processes("vvp") if _tmp_of(p) == temporary])
    running.send_signal(number)
    _, stderr = running.communicate(timeout=60)
    assert said in stderr
    _wait_for(lambda: not any(Path(f"/proc/{p}").exists() for p in simulators))
    if number != signal.SIGKILL:
        assert [] == list(temporary.glob("cellstep-*"))


def _wait_for(condition, seconds=60):
    """Return what a condition gives once it gives something."""
    end = time.monotonic() + seconds
    while not (found := condition()):
        assert time.monotonic() < end, "it did not come about"
        time.sleep(0.05)
    return found


def _processes(name):
    """Return the processes of a name."""
    found = []
    for path in Path("/proc").glob("[0-9]*/comm"):
        try:
            if path.read_text().strip() == name:
                found.append(int(path.parent.name))
        except OSError:
            continue
    return found


def _tmp_of(process):
    """Return the folder for temporary files of a process's command, None if it is gone."""
    try:
        settings = Path(f"/proc/{process}/environ").read_bytes().split(b"\0")
    except OSError:
        return None
    found = [s.split(b"=", 1)[1].decode() for s in settings if s.startswith(b"TMPDIR=")]
    return Path(found[0]).parents[1] if found else None


def test_what_a_killed_command_left_is_swept(core, tmp_path):
    """The next command removes a work folder whose process is gone, and none that is in use."""
    script = (
        "import sys, time; from pathlib import Path\n"
        "from refmodel.ground.scratch import scratch\n"
        "with scratch('cellstep-') as folder: print(folder, flush=True); time.sleep(60)"
    )
    environment = {**os.environ, "TMPDIR": str(tmp_path)}
    both = [
        subprocess.Popen(
            [COMMAND[0], "-c", script], stdout=subprocess.PIPE, text=True, env=environment
        )
        for _ in range(2)
    ]
    left, used = (Path(process.stdout.readline().strip()) for process in both)
    both[0].kill()
    both[0].wait()
    assert left.exists()
    done = apart(*core().words(), env={"TMPDIR": str(tmp_path)})
    assert (0, False, True) == (done.returncode, left.exists(), used.exists())
    both[1].kill()
    both[1].wait()
