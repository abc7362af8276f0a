"""How much of the machine there is to use."""

from __future__ import annotations

import os


def processors() -> int:
    """Return how many processors this process may run on; what `taskset` leaves it counts."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
