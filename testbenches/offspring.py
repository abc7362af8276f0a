"""Processes that end with the one that started them, however that one ends."""

from __future__ import annotations

import ctypes
import signal
import sys
from contextlib import suppress

_PR_SET_PDEATHSIG = 1  # prctl(2)
_libc = ctypes.CDLL(None) if sys.platform == "linux" else None


def die_with_parent() -> None:
    """Have the system kill this process when the thread that started it is gone.

    What it then executes keeps this; what that starts does not. Only Linux knows it: elsewhere a
    simulator ends when it sees that it has another parent.
    """
    if _libc is not None:
        with suppress(OSError, AttributeError):
            _libc.prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
