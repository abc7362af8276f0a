"""Rows of whole commands: from an edited core to its verdict, a hunt, a capture, two processors."""

from __future__ import annotations

import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from testbenches.bench.capture_file import write_capture
from testbenches.bench.rows import BYTEWIDE, REFERENCE, BenchRow, median_seconds

COMMAND = [sys.executable, "-m", "refmodel.cli.main"]
HUNT_SECONDS = 15


def edited_row(simulator: str) -> BenchRow:
    """Time `cellstep run` of the quick suite on a core with one line more than the time before."""
    with tempfile.TemporaryDirectory() as folder:
        core = Path(shutil.copytree(REFERENCE.parent, Path(folder) / "core"))

        def edited() -> None:
            with (core / "disk_regs.v").open("a") as file:
                file.write("// edited\n")
            binding = str(core / REFERENCE.name)
            _called(["run", binding, "--suite", "quick", "--sim", simulator])

        seconds = median_seconds(edited, 3)
    return BenchRow(
        f"edited Verilog to verdict, suite `quick`, {simulator}",
        "at most 2.5 s",
        f"{seconds:.1f} s",
        seconds <= 2.5,
    )


def hunt_rows() -> Iterator[BenchRow]:
    """Time a hunt on the reference core with one worker, and with two."""
    one, two = (_hunted(workers) for workers in (1, 2))
    yield BenchRow(
        "hunt, reference core, Verilator, one worker",
        "at least 3 M cycles/s",
        f"{one / 1e6:.2f} M cycles/s compared",
        one >= 3e6,
    )
    yield BenchRow(
        "  two workers against one", "at least 1.8x", f"{two / one:.2f}x", two >= 1.8 * one
    )


def _hunted(workers: int) -> float:
    """Return how many cycles a second so many workers compare, the start left out.

    Two hunts of the same cases, one longer than the other: what is the same in both is the start.
    """
    found = []
    for seconds in (HUNT_SECONDS // 3, HUNT_SECONDS):
        words = ["hunt", str(REFERENCE), "--sim", "verilator", "--workers", str(workers)]
        started = time.perf_counter()
        said = _called([*words, "--seconds", str(seconds), "--seed", "1", "--json"])
        passed = time.perf_counter() - started
        found.append((json.loads(said)["hunts"][0]["cycles_compared"], passed))
    (few, short), (many, whole) = found
    return float((many - few) / (whole - short))


def capture_rows(turns: int) -> Iterator[BenchRow]:
    """Check a waveform of some revolutions against the model, in a process of its own."""
    with tempfile.TemporaryDirectory() as folder:
        capture, wave_map = write_capture(Path(folder), turns)
        size = capture.stat().st_size / 1e6
        started = time.perf_counter()
        _called(["check", str(capture), "--map", str(wave_map)])
        seconds = time.perf_counter() - started
    most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    yield BenchRow(
        f"offline check, a VCD of {size:.0f} MB",
        "under 300 MB of memory",
        f"at most {most:.0f} MB, {size / seconds:.0f} MB/s",
        most < 300,
    )


def cores_row(long: bool) -> BenchRow:
    """Time a suite on both simulators with one processor, and with two."""
    binding = BYTEWIDE if long else REFERENCE
    one, two = (_suite_seconds(binding, "status", count) for count in (1, 2))
    return BenchRow(
        f"two processors against one, `status` of {binding.parent.name}, both simulators",
        "at least 1.8x",
        f"{one / two:.2f}x ({one:.0f} s and {two:.0f} s)",
        one >= 1.8 * two,
    )


def _suite_seconds(binding: Path, suite: str, count: int) -> float:
    """Return the seconds that `cellstep run` takes on `count` processors."""
    few = sorted(os.sched_getaffinity(0))[:count]
    started = time.perf_counter()
    subprocess.run(
        [*COMMAND, "run", str(binding), "--suite", suite, "--sim", "both"],
        check=True,
        capture_output=True,
        preexec_fn=lambda: os.sched_setaffinity(0, few),
    )
    return time.perf_counter() - started


def _called(words: Sequence[str]) -> str:
    """Return what a command prints; it must end well."""
    done = subprocess.run([*COMMAND, *words], check=True, capture_output=True, text=True)
    return done.stdout
