"""Wakes the snapshots that a simulator has left, and reads the signals they write."""

from __future__ import annotations

import os
import re
import select
import time
from contextlib import suppress
from pathlib import Path

from testbenches.job import BENCH, Job, Traced

SECONDS = 60.0  # for what a snapshot does, beside its cycles
SLOWEST = 20_000.0  # cycles a second
_DATE = re.compile(rb"\$date.*?\$end\s*", re.S)  # of the run: two alike would differ by it


class Bench:
    """The end of a pipe: as long as it is open, the snapshots of a session wait."""

    def __init__(self) -> None:
        self.simulators_end, self._own = os.pipe()

    @property
    def settings(self) -> dict[str, str]:
        """What the simulator's environment says of it."""
        return {BENCH: str(self.simulators_end)}

    def started(self) -> None:
        """Leave the other end to the simulator."""
        os.close(self.simulators_end)

    def close(self) -> None:
        """End the snapshots."""
        os.close(self._own)


def signals_of(job: Job, run: int, wanted: Traced) -> bytes | None:
    """Return a VCD of every signal in some cycles of a run that is over.

    None if there is no snapshot of it, or the one woken does not end in time.
    """
    folder = job.snapshots(run)
    cycles = sorted(int(path.name) for path in folder.glob("*"))
    before = [cycle for cycle in cycles if cycle < max(1, wanted.first)]
    if not before or not _gone_on(folder / str(before[-1]), wanted, before[-1]):
        return None
    with suppress(FileNotFoundError):
        return _DATE.sub(b"", job.waves_file(run).read_bytes(), count=1)
    return None


def _gone_on(pipe: Path, wanted: Traced, start: int) -> bool:
    """Have the snapshot at a pipe go on from cycle `start`; return whether it has ended."""
    try:
        order = os.open(pipe, os.O_WRONLY | os.O_NONBLOCK)
    except OSError:  # nobody is there any more
        return False
    try:
        os.write(order, f"{wanted.first} {wanted.end} {wanted.marked}".encode())
        ending = select.poll()
        ending.register(order, 0)  # an error is told in any case
        end = time.monotonic() + SECONDS + (wanted.end - start) / SLOWEST
        while time.monotonic() < end:
            if ending.poll(200):
                return True
        return False
    finally:
        os.close(order)
