"""Work is spread over the processors a process may use, and comes back in order."""

import os
import subprocess
import sys
from functools import partial

import pytest

from refmodel.processors import processors
from refmodel.workers import run_all

COUNT = "from refmodel.processors import processors; print(processors())"


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
