"""Snapshots of a simulator: copies of its process, each of which waits where it was made.

A mismatch is found when the run is over. The last snapshot before it then goes on from where it
stands, up to the cycles that are wanted, and writes every signal of the core: nothing starts over.
"""

from __future__ import annotations

import fcntl
import os
import select
import signal
import stat
from pathlib import Path
from typing import Any, NamedTuple, TypeAlias

from cocotb.triggers import Timer

from testbenches.job import BENCH, Job, Traced

Handle: TypeAlias = Any  # a simulator's handle has no type of its own

SPACING = 5_000_000  # ns of a run from one snapshot to the next: half a million edges
MOST = 24  # snapshots of a session that lie within its runs; twice as far apart when there are more
LONGEST_ORDER = 4096
EDGE = 10  # ns


class Copy(NamedTuple):
    """A process that waits, and the pipe that wakes it."""

    process: int
    pipe: Path


class Snapshots:
    """Those of one session, kept while its runs are played."""

    def __init__(self, dut: Handle, job: Job) -> None:
        self._dut = dut
        self._job = job
        self._bench = int(os.environ[BENCH])
        self._spacing = SPACING
        self._inside: list[Copy] = []
        self._order: Traced | None = None
        self._finished = 0  # as the harness has it before the end of the run

    async def keep(self, run: int) -> None:
        """Make a snapshot at the start of a run, and one every so often, until cancelled.

        In a copy that is told to go on, write the signals it is told to and end.
        """
        await Timer(2, "ns")  # the run begins when one has passed
        self._finished = int(self._dut.finished.value)
        self._copied(run)
        while self._order is None:
            await Timer(self._spacing, "ns")
            if (copy := self._copied(run)) is not None:
                self._inside.append(copy)
            if len(self._inside) > MOST:
                self._thin_out()
        await self._write(self._order)
        os._exit(0)  # threads of the simulator that it would wait for are not in a copy

    @property
    def goes_on(self) -> bool:
        """Whether this process is a copy that has been told to go on."""
        return self._order is not None

    def _copied(self, run: int) -> Copy | None:
        """Make a snapshot; return None if there is no room, and in the copy when it is to go on."""
        folder = self._job.snapshots(run)
        folder.mkdir(parents=True, exist_ok=True)
        pipe = folder / str(int(self._dut.cycle_now.value))
        os.mkfifo(pipe)
        files = _open_files()
        try:
            process = os.fork()
        except OSError:
            pipe.unlink()
            return None
        if process:
            return Copy(process, pipe)
        _part_from(files)
        self._order = self._told(pipe)
        return None

    def _told(self, pipe: Path) -> Traced:
        """Wait to be told what to write; end with the bench."""
        order = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
        waiting = select.poll()
        waiting.register(order, select.POLLIN)
        waiting.register(self._bench, select.POLLIN)
        ready = dict(waiting.poll())
        if self._bench in ready:
            os._exit(0)
        return Traced(*map(int, os.read(order, LONGEST_ORDER).split()))

    def _thin_out(self) -> None:
        """End every second snapshot, and make those to come less often."""
        for copy in self._inside[::2]:
            copy.pipe.unlink()
            os.kill(copy.process, signal.SIGKILL)
            os.waitpid(copy.process, 0)
        del self._inside[::2]
        self._spacing *= 2

    async def _write(self, order: Traced) -> None:
        """Write every signal in the cycles of an order."""
        self._dut.marked_cycle.value = order.marked
        await self._until(order.first)
        self._dut.tracing.value = 1
        await self._until(order.end)
        self._dut.tracing.value = 0
        await Timer(1, "ns")

    async def _until(self, cycle: int) -> None:
        """Wait for a cycle or the end of the run; a cycle has one edge or more."""
        while True:
            left = cycle - int(self._dut.cycle_now.value)
            if left <= 0 or int(self._dut.finished.value) != self._finished:
                return
            await Timer(EDGE * left, "ns")


class Place(NamedTuple):
    """How a file is open, and where in it the next byte is read."""

    flags: int
    offset: int


def _open_files() -> dict[int, Place]:
    """Return the files that the simulator has open, by descriptor."""
    found = {}
    for name in os.listdir("/proc/self/fd"):
        number = int(name)
        try:
            is_file = stat.S_ISREG(os.fstat(number).st_mode)
        except OSError:
            continue  # that of the list itself
        if is_file:
            flags = fcntl.fcntl(number, fcntl.F_GETFL) & os.O_ACCMODE
            found[number] = Place(flags, os.lseek(number, 0, os.SEEK_CUR))
    return found


def _part_from(files: dict[int, Place]) -> None:
    """Have a copy read files on its own, and write to none of them."""
    nowhere = os.open(os.devnull, os.O_RDWR)
    for standard in range(3):
        os.dup2(nowhere, standard)
    for number, place in files.items():
        if place.flags == os.O_RDONLY:
            again = os.open(f"/proc/self/fd/{number}", os.O_RDONLY)
            os.lseek(again, place.offset, os.SEEK_SET)
            os.dup2(again, number)
            os.close(again)
        else:
            os.dup2(nowhere, number)
