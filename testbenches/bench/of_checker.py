"""Row of the checker: a cocotb bench of the user's own with and without it."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

from testbenches.bench.rows import REFERENCE, BenchRow
from testbenches.job import Job
from testbenches.toolchain import cache_folder, simulator_environment


def checker_row(simulator: str) -> BenchRow:
    """Time a bench that drives the reference core from Python, with and without the checker."""
    with tempfile.TemporaryDirectory() as folder:
        alone, checked = (_rate(simulator, Path(folder), name) for name in ("", str(REFERENCE)))
    return BenchRow(
        f"the passive checker in a bench of one's own, {simulator}",
        "at least half the speed of the bench without it",
        f"{checked / alone:.2f} ({checked / 1e3:.0f} k against {alone / 1e3:.0f} k cycles/s)",
        checked >= 0.5 * alone,
    )


def _rate(simulator: str, folder: Path, binding: str) -> float:
    """Return the cycles a second of the bench; with a binding the checker is in it."""
    job = Job(
        simulator,
        "disk_regs",
        tuple(sorted(REFERENCE.parent.glob("*.v"))),
        (),
        {},
        folder / "build",
        (cache_folder() / "runtime").resolve(),
        folder,
        1,
        test_module="testbenches.bench.own_bench_tests",
        all_public=True,
    )
    job.build_dir.mkdir(exist_ok=True)
    job.write([])
    settings = {**simulator_environment(simulator), "CELLSTEP_CHECKED": binding}
    subprocess.run(
        [sys.executable, "-m", "testbenches.worker", str(job.file)],
        env={**os.environ, **settings, "TMPDIR": str(folder)},
        check=True,
        capture_output=True,
        stdin=subprocess.DEVNULL,
    )
    (done,) = job.done()
    return done.cycles / done.seconds
