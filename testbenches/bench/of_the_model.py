"""Rows of the model alone: its two forms, flux, and many revolutions."""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from refmodel.block.inputs import Inputs
from refmodel.block.registers import RegisterBlock
from refmodel.engine.edges import EdgeStepper
from refmodel.engine.timeline import Timeline
from refmodel.ground.bus import READ_STATUS
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.word import WORD
from refmodel.media.flux_defects import Defects
from refmodel.media.strobes import strobe_cycles
from refmodel.profile import load_profile
from refmodel.world.disk import Disk
from refmodel.world.turning import Turning
from testbenches.bench.rows import REFERENCE, BenchRow, median_seconds, quiet, scenario
from testbenches.binding.load import load_binding
from testbenches.lockstep import Lockstep


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
