"""Whether a simulator that works lets simulated time pass, seen from outside its process."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path


class Pulse:
    """Follows the signs of life that a harness leaves, run after run, in these files.

    What counts is the processor's time the simulator takes: on a machine that sleeps or is busy
    nothing stands still. Where the system does not tell that time, the clock on the wall counts.
    """

    def __init__(self, process: int, files: Sequence[Path]) -> None:
        self._process = process
        self._files = list(files)
        self._at = 0  # the run under way
        self._seen: tuple[int, int] = (0, 0)
        self._since = self._worked()
        self._wall = time.monotonic()

    def stands_still(self, seconds: float) -> bool:
        """Return whether time has stood still for so many seconds, and the simulator has worked.

        It has worked for half of them, or, before the first sign of life, for all of them: it
        starts a Python first.
        """
        seen, worked = self._signs(), self._worked()
        if seen != self._seen:
            self._seen, self._since, self._wall = seen, worked, time.monotonic()
        work = seconds / 2 if self._seen[1] > 0 else seconds
        return worked - self._since > work and time.monotonic() - self._wall > seconds

    def _signs(self) -> tuple[int, int]:
        """Return the run under way and how many signs of life it has left."""
        while self._at + 1 < len(self._files) and self._files[self._at + 1].exists():
            self._at += 1
        try:
            return self._at, self._files[self._at].stat().st_size
        except (OSError, IndexError):
            return self._at, -1

    def _worked(self) -> float:
        """Return the seconds the process itself has worked, its children apart."""
        if sys.platform != "linux":
            return time.monotonic()
        try:
            fields = Path(f"/proc/{self._process}/stat").read_text().rpartition(")")[2].split()
        except OSError:  # it has just ended
            return self._since if hasattr(self, "_since") else 0.0
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
