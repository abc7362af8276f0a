"""Work is spread over the processors a process may use, and comes back in order."""

import os
import signal
import subprocess
import sys
from functools import partial
from pathlib import Path

import pytest

from refmodel.ground.errors import CannotRun, InputError, Problem
from refmodel.ground.processors import processors
from refmodel.ground.workers import run_all

ENDLESS = """
import signal
from functools import partial
from refmodel.ground.workers import run_all
signal.signal(signal.SIGINT, signal.default_int_handler)  # a background job inherits none
def begun(): print("one done", flush=True)
run_all([partial(exec, work) for work in ("pass", *["while True: pass"] * 3)], 2, begun)
"""
COUNT = "from refmodel.ground.processors import processors; print(processors())"


def test_results_come_back_in_order_and_each_is_told():
    """What each call returns stands at its place, and `done` is called once for each."""
    told = []
    found = run_all([partial(divmod, n, 3) for n in range(7)], done=lambda: told.append(1))
    assert [divmod(n, 3) for n in range(7)] == found
    assert 7 == len(told)


def test_calls_run_in_other_processes():
    """With one worker all calls run in one process, which is not this one."""
    found = run_all([os.getpid] * 3, workers=1)
    assert 1 == len(set(found))
    assert os.getpid() not in found


def test_what_a_call_raises_is_raised_here():
    """The first error ends the work and reaches the caller."""
    with pytest.raises(ZeroDivisionError):
        run_all([partial(divmod, 1, 0), *[partial(divmod, 1, 1)] * 3], workers=1)


def test_an_error_drops_what_is_under_way():
    """What never ends is not waited for when a call beside it fails."""
    with pytest.raises(ZeroDivisionError):
        run_all([partial(exec, "while True: pass"), partial(divmod, 1, 0)], workers=2)


def test_a_fault_found_in_another_process_keeps_its_places():
    """A fault in a file is reported as it was raised: line, column and key."""
    fault = Problem(Path("a.yaml"), 3, 1, "track", "is wrong")
    with pytest.raises(InputError) as error:
        run_all([partial(_refuse, fault)], workers=1)
    assert (fault,) == error.value.problems
    assert "a.yaml:3:1: track: is wrong" == str(error.value)


def test_a_killed_worker_is_told():
    """What the system does when memory runs out is no internal error, and no result either."""
    with pytest.raises(CannotRun, match="a worker process was killed, so there is no verdict"):
        run_all([partial(divmod, 1, 1), _kill_me], workers=1)


def _kill_me():
    os.kill(os.getpid(), signal.SIGKILL)


def _refuse(fault):
    raise InputError([fault])


def test_an_interrupt_drops_what_is_under_way():
    """Ctrl-C reaches calls that never end, and the one that waits behind them."""
    process = subprocess.Popen(
        [sys.executable, "-c", ENDLESS], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert "one done\n" == process.stdout.readline()
    process.send_signal(signal.SIGINT)
    try:
        _, stderr = process.communicate(timeout=60)
    finally:
        process.kill()
    assert "KeyboardInterrupt" == stderr.splitlines()[-1]


@pytest.mark.skipif(not hasattr(os, "sched_setaffinity"), reason="needs sched_setaffinity")
def test_processors_left_to_a_process():
    """A process that may run on one processor counts one, whatever the machine has."""
    one = {min(os.sched_getaffinity(0))}
    done = subprocess.run(
        [sys.executable, "-c", COUNT],
        capture_output=True,
        text=True,
        check=True,
        preexec_fn=lambda: os.sched_setaffinity(0, one),
    )
    assert "1\n" == done.stdout
    assert 1 <= processors() <= (os.cpu_count() or 1)
