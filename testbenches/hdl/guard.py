"""Reads sources first in a process with limits: some grow without end as they are read.

A few lines whose macros double themselves take all the memory of a machine. A copy of this process
reads them under limits of memory and time; only what it could read is read here.
"""

from __future__ import annotations

import contextlib
import os
import resource
import signal
import time
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path

from refmodel.ground.errors import CannotRun, UserError

MEMORY = 2 << 30  # bytes of address space more than this process has
SECONDS = 60  # of the processor: how busy the machine is makes no source a bad one
PATIENCE = 5 * SECONDS  # on the wall
_READ, _REFUSED, _TOO_LARGE = 0, 3, 4  # the copy's exit status
OUT_OF_MEMORY = (_TOO_LARGE, -signal.SIGABRT, -signal.SIGKILL)


def guarded(read: Callable[[], object], files: Sequence[Path]) -> None:
    """Let a copy of this process call `read`; raise CannotRun when that goes beyond its limits.

    What else `read` raises or returns is left to the caller, who calls it next.
    """
    status = _tried(read)
    if status is not None and status < 0 and status != -signal.SIGXCPU:
        status = _tried(read)  # a copy of a process with threads may fall by itself
    if status is None or status < 0 or status == _TOO_LARGE:
        named = ", ".join(str(path) for path in files[:3]) + (", ..." if len(files) > 3 else "")
        raise CannotRun(f"{named}: {_why(status)}")


def _why(status: int | None) -> str:
    """Say why a copy read no further, and what to look at."""
    twice = "; does a macro or an include contain itself twice?"
    if status in (None, -signal.SIGXCPU):
        return f"reading the sources took more than {SECONDS} s{twice}"
    if status in OUT_OF_MEMORY:
        return f"reading the sources took more than {MEMORY >> 30} GiB of memory{twice}"
    assert status is not None
    return (
        f"the reader of the sources ended twice with signal {-status};"
        " try it with fewer files, to find the one it fails on"
    )


def _tried(read: Callable[[], object]) -> int | None:
    """Let a copy of this process call `read`; return its end, as `_ended` does."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        process = os.fork()
    if process == 0:
        _read_and_end(read)
    return _ended(process)


def _read_and_end(read: Callable[[], object]) -> None:
    """Read under the limits, in the copy; never return."""
    status = _REFUSED
    with contextlib.suppress(BaseException):
        signal.alarm(2 * PATIENCE)
        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS + 1))
        for stop in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT):
            signal.signal(stop, signal.SIG_DFL)
        used = int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
        resource.setrlimit(resource.RLIMIT_AS, (used + MEMORY, resource.RLIM_INFINITY))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)  # a library says more as it runs out
        try:
            read()
            status = _READ
        except MemoryError:
            status = _TOO_LARGE
        except UserError:
            status = _REFUSED
        except Exception:
            status = _REFUSED
    os._exit(status)


def _ended(process: int) -> int | None:
    """Wait for the copy; return its exit status, below 0 for a signal, or None for too long."""
    end = time.monotonic() + PATIENCE
    pause = 0.002
    try:
        while time.monotonic() < end:
            ended, status = os.waitpid(process, os.WNOHANG)
            if ended:
                return os.waitstatus_to_exitcode(status)
            time.sleep(pause)
            pause = min(2 * pause, 0.05)
    except BaseException:
        _kill(process)
        raise
    _kill(process)
    return None


def _kill(process: int) -> None:
    with contextlib.suppress(OSError):
        os.kill(process, signal.SIGKILL)
        os.waitpid(process, 0)
