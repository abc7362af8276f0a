"""`make bench`: measures the speeds the design promises and prints them beside their targets.

Every figure is a median of a few runs on this machine, ratios come from one session; nothing here
passes or fails. `python -m testbenches.bench --long` adds the rows that take minutes.
"""

from __future__ import annotations

import argparse
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table

from refmodel.block.inputs import Inputs
from refmodel.block.registers import RegisterBlock
from refmodel.engine.edges import EdgeStepper
from refmodel.engine.timeline import Timeline
from refmodel.ground.bus import READ_STATUS
from refmodel.ground.processors import processors
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.word import WORD
from refmodel.media.flux_defects import Defects
from refmodel.media.strobes import strobe_cycles
from refmodel.profile import load_profile
from refmodel.world.disk import Disk
from refmodel.world.scenario import HostPart, Scenario
from refmodel.world.sector_layouts import IsoLayout
from refmodel.world.turning import Turning
from testbenches.binding.load import load_binding
from testbenches.job import Job, Run, RunDone
from testbenches.lockstep import Lockstep
from testbenches.simulator import Session, said
from testbenches.toolchain import available

RUNS = 5
CORES = Path(str(resources.files("hdl_stubs")))
REFERENCE, BYTEWIDE = CORES / "reference" / "binding.yaml", CORES / "bytewide" / "binding.yaml"


@dataclass(frozen=True)
class BenchRow:
    """One line of the table."""

    what: str
    target: str
    measured: str
    meets: bool


def quiet(message: str) -> None:
    """Say nothing."""
    del message


def median_seconds(work: Callable[[], Any], runs: int = RUNS) -> float:
    """Return the median time of one call, after one that does not count."""
    work()
    times = []
    for _ in range(runs):
        started = time.perf_counter()
        work()
        times.append(time.perf_counter() - started)
    return statistics.median(times)


def revolution(reads: int = 45_000) -> Stimulus:
    """Return one revolution of random bits at 7.09379 MHz with evenly spread reads of status."""
    profile = load_profile("pal_dd")
    rng = np.random.default_rng(1)
    cycle = strobe_cycles(0, 100_000, profile.cycles_per_bit)
    cycles = int(cycle[-1]) + 1
    read = np.arange(reads, dtype=np.int64) * (cycles // reads) + 5
    return Stimulus(
        0,
        cycles,
        bit_cycle=cycle,
        bit=rng.integers(0, 2, len(cycle)).astype(np.uint8),
        access_cycle=read,
        access_kind=np.full(reads, READ_STATUS, np.uint8),
        access_mask=np.full(reads, 0xFFFF, np.uint16),
        access_value=np.zeros(reads, np.uint16),
    )


def model_rows() -> Iterator[BenchRow]:
    """Time the two forms of the model."""
    profile, stimulus = load_profile("pal_dd"), revolution()
    seconds = median_seconds(lambda: Timeline(profile).run(stimulus))
    ms = seconds * 1000
    yield BenchRow(
        "timeline, one revolution (100 000 channel bits, 45 000 reads)",
        "at most 10 ms",
        f"{ms:.1f} ms, {0.2 / seconds:.0f}x real time",
        ms <= 10,
    )
    bit, read = Inputs(bit_strobe=1, bit=1), Inputs(read_status=1)
    edges, cycles = 40_000, 40_000 * 7  # a bit or a read each 7 cycles, the rest quiet

    def every_edge() -> None:
        step = RegisterBlock(profile).step
        for _ in range(edges // 2):
            step(bit)
            step(read)

    def quiet_edges_skipped() -> None:
        stepper = EdgeStepper(RegisterBlock(profile))
        for cycle in range(0, cycles, 14):
            stepper.settle(cycle)
            stepper.take((cycle, "bit", 1))
            stepper.step()
            stepper.settle(cycle + 7)
            stepper.access(READ_STATUS, WORD, 0)
            stepper.step()

    rate = cycles / median_seconds(quiet_edges_skipped, 3) / 1e6
    alone = edges / median_seconds(every_edge, 3) / 1e6
    yield BenchRow(
        "step, an edge in 7 not quiet (all edges, none skipped)",
        "at least 1 M cycles/s",
        f"{rate:.1f} M cycles/s ({alone:.2f} M)",
        rate >= 1,
    )


def flux_row() -> BenchRow:
    """Time one revolution from flux through the separator model to the status lanes."""
    profile = load_profile("pal_dd")
    part = scenario(1, cycles=31).model_copy(
        update={"separator": "second_order", "flux": Defects(jitter_ns=100)}
    )
    disk = Disk(part, part.track.build(1, Path()), profile)

    def through() -> None:
        timeline = Timeline(profile)
        for stimulus in Turning(disk):
            timeline.run(stimulus)

    ms = median_seconds(through, 3) * 1000
    return BenchRow(
        "one revolution from flux through a separator model",
        "at most 150 ms",
        f"{ms:.0f} ms",
        ms <= 150,
    )


def scenario(turns: int, program: str = "read_every", **params: int) -> Scenario:
    """Return an ISO track with a host that reads status."""
    host = HostPart(program=program, params=params)
    track = IsoLayout(layout="iso")
    levels: Any = {"wait_for_sync": 1}
    return Scenario(name="bench", track=track, revolutions=turns, host=host, levels=levels)


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
            test_module="testbenches.every_cycle_tests",
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


def revolutions_rows(turns: int) -> Iterator[BenchRow]:
    """Measure time and memory of the model over many revolutions, each in a process of its own."""
    few, many = (_model_process(n) for n in (turns // 4, turns))
    ratio = many[0] / few[0]
    yield BenchRow(
        f"model and host program, {turns} revolutions against {turns // 4}",
        "time linear (ratio 4.0)",
        f"ratio {ratio:.2f}",
        ratio < 4.8,
    )
    yield BenchRow(
        f"memory, {turns} revolutions", "under 300 MB", f"{many[1]:.0f} MB", many[1] < 300
    )


def cores_row(binding: Path, suite: str) -> BenchRow:
    """Time a suite on both simulators with one processor, and with two."""
    one, two = (_suite_seconds(binding, suite, count) for count in (1, 2))
    return BenchRow(
        f"two processors against one, `{suite}` of {binding.parent.name}, both simulators",
        "at least 1.8x",
        f"{one / two:.2f}x ({one:.0f} s and {two:.0f} s)",
        one >= 1.8 * two,
    )


def _suite_seconds(binding: Path, suite: str, count: int) -> float:
    """Return the seconds that `cellstep run` takes on `count` processors."""
    few = sorted(os.sched_getaffinity(0))[:count]
    words = [sys.executable, "-m", "refmodel.cli.main", "run", str(binding), "--suite", suite]
    started = time.perf_counter()
    subprocess.run(
        [*words, "--sim", "both"],
        check=True,
        capture_output=True,
        preexec_fn=lambda: os.sched_setaffinity(0, few),
    )
    return time.perf_counter() - started


def _model_process(turns: int) -> tuple[float, float]:
    """Return seconds and peak MB of playing and computing some revolutions."""
    run = subprocess.run(
        [sys.executable, "-m", "testbenches.bench", "--model-only", str(turns)],
        check=True,
        capture_output=True,
        text=True,
    )
    seconds, megabytes = run.stdout.split()
    return float(seconds), float(megabytes)


def model_only(turns: int) -> None:
    """Play and compute some revolutions as lockstep does; print seconds and peak MB."""
    with tempfile.TemporaryDirectory() as folder:
        lockstep = Lockstep(load_binding(REFERENCE), Path(folder), 1, {})
        started = time.perf_counter()
        ready = lockstep.prepare([(Path("bench"), scenario(turns, cycles=31))], quiet)[0]
        timeline = Timeline(lockstep.profile)
        for stimulus in lockstep.stimuli(ready):
            timeline.run(stimulus)
        seconds = time.perf_counter() - started
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(seconds, peak)


def main() -> None:
    """Measure and print the table."""
    options = argparse.ArgumentParser(prog="python -m testbenches.bench", description=__doc__)
    options.add_argument("--long", action="store_true", help="100 revolutions (takes minutes)")
    options.add_argument("--model-only", type=int, metavar="N", help=argparse.SUPPRESS)
    chosen = options.parse_args()
    if chosen.model_only:
        model_only(chosen.model_only)
        return
    console = Console()
    table = Table("what", "target", "measured", "", title="Cellstep, measured on this machine")
    with console.status("measuring") as status:
        for part in parts(chosen.long):
            for row in part:
                status.update(f"measured: {row.what}")
                table.add_row(row.what, row.target, row.measured, "" if row.meets else "short")
    console.print(table)


def parts(long: bool) -> Iterator[Iterator[BenchRow]]:
    """Yield the groups of rows in the table's order."""
    for simulator, target in (("verilator", 2.0), ("icarus", 0.6)):
        if simulator in available():
            yield lockstep_rows(simulator, target)
            yield live_rows(simulator)
    yield model_rows()
    yield iter([flux_row()])
    yield revolutions_rows(100 if long else 8)
    if len(available()) == 2 and processors() > 1 and hasattr(os, "sched_setaffinity"):
        yield iter([cores_row(BYTEWIDE if long else REFERENCE, "status")])


if __name__ == "__main__":
    main()
