"""Processes that end with the one that started them, however that one ends."""

from __future__ import annotations

import ctypes
import resource
import signal
import sys
from contextlib import suppress

BUILD_MEMORY = 8 << 30  # bytes of address space, in each process of a build
RUN_MEMORY = 1 << 30  # bytes of data of a simulator that runs
_PR_SET_PDEATHSIG = 1  # prctl(2)
_libc = ctypes.CDLL(None) if sys.platform == "linux" else None


def limited_child() -> None:
    """Have a tool of a build end with its parent, and take no more than BUILD_MEMORY."""
    die_with_parent()
    with suppress(OSError, ValueError):
        _, most = resource.getrlimit(resource.RLIMIT_AS)
        resource.setrlimit(resource.RLIMIT_AS, (BUILD_MEMORY, most))


def limit_memory() -> None:
    """Have what this process becomes take no more than RUN_MEMORY for its data."""
    with suppress(OSError, ValueError):
        _, most = resource.getrlimit(resource.RLIMIT_DATA)
        resource.setrlimit(resource.RLIMIT_DATA, (RUN_MEMORY, most))


def die_with_parent() -> None:
    """Have the system kill this process when the thread that started it is gone.

    What it then executes keeps this; what that starts does not. Only Linux knows it: elsewhere a
    simulator ends when it sees that it has another parent.
    """
    if _libc is not None:
        with suppress(OSError, AttributeError):
            _libc.prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
