"""Rows of the harness: replay, a live host, and the plain way to compare."""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from testbenches.bench.rows import REFERENCE, RUNS, BenchRow, quiet, scenario
from testbenches.binding.load import load_binding
from testbenches.job import Job, Run, RunDone
from testbenches.lockstep import Lockstep
from testbenches.simulator import Session, said


def lockstep_rows(simulator: str, target: float) -> Iterator[BenchRow]:
    """Time the harness with and without recording, three revolutions at 45 000 reads each."""
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        lockstep = Lockstep(load_binding(REFERENCE), work, 1, {})
        prepared = lockstep.prepare([(Path("bench"), scenario(3, cycles=31))], quiet)
        runs = [Run(0, recording=n % 2 == 1) for n in range(2 * RUNS)]
        done = lockstep.play(prepared, lockstep.session(simulator), runs)
        unchecked = statistics.median(d.cycles / d.seconds for d in done[0::2])
        recorded = statistics.median(d.cycles / d.seconds for d in done[1::2])
        started = time.perf_counter()
        outcome = lockstep.compare(prepared[0], simulator, done[-1])
        compare = time.perf_counter() - started
    whole = outcome.cycles / (outcome.cycles / recorded + compare)
    yield BenchRow(
        f"lockstep replay, reference core, {simulator}",
        f"at least {target} M cycles/s",
        f"{whole / 1e6:.2f} M cycles/s compared, {recorded / 1e6:.2f} M recorded",
        whole >= target * 1e6,
    )
    yield BenchRow(
        f"  as a share of the same harness unchecked, {simulator}",
        "at least 0.8",
        f"{whole / unchecked:.2f} ({unchecked / 1e6:.2f} M cycles/s unchecked)",
        whole >= 0.8 * unchecked,
    )
    yield every_cycle_row(simulator, whole)


class EveryCycle(Session):
    """A session of the plain way to do it: a coroutine that reads every field every cycle."""

    def job(self) -> Job:
        """Describe the work, with a build folder and a test of its own."""
        job = super().job()
        build_dir = job.build_dir.with_name(job.build_dir.name + "-public")
        return replace(
            job,
            build_dir=build_dir,
            test_module="testbenches.bench.every_cycle_tests",
            all_public=True,
        )

    def _results(self, job: Job, runs: list[Run], status: int) -> list[RunDone]:
        """Return what the coroutine left: it ends long before the harness has its records whole."""
        assert not status, said(job)
        return job.done()[: len(runs)]


def every_cycle_row(simulator: str, whole: float) -> BenchRow:
    """Time the plain way on the reference core, and set `whole` cycles/s of lockstep against it."""
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        lockstep = Lockstep(load_binding(REFERENCE), work, 1, {})
        prepared = lockstep.prepare([(Path("bench"), scenario(1, cycles=31))], quiet)
        session = EveryCycle(simulator, lockstep.harness, lockstep.ports, work / simulator, seed=1)
        done = lockstep.play(prepared, session, [Run(0)])[0]
    rate = done.cycles / done.seconds
    return BenchRow(
        f"  against a loop that reads every field every cycle, {simulator}",
        "at least 20x (Verilator)",
        f"{whole / rate:.0f}x ({rate / 1e3:.0f} k cycles/s)",
        simulator == "icarus" or whole >= 20 * rate,
    )


def live_rows(simulator: str) -> Iterator[BenchRow]:
    """Time a live host that reads status every 8 cycles."""
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        lockstep = Lockstep(load_binding(REFERENCE), work, 1, {}, live=True)
        ready = lockstep.prepare([(Path("bench"), scenario(1, cycles=8))], quiet)[0]
        runs = [Run(0, live=lockstep.live_host(ready))]
        done = lockstep.play([ready], lockstep.session(simulator), runs)[0]
    rate = done.accesses / done.seconds
    yield BenchRow(
        f"live host program, {simulator}",
        "at least 30 k accesses/s",
        f"{rate / 1e3:.0f} k accesses/s",
        rate >= 30_000,
    )
