"""The plain way to watch a core, for comparison in the bench: read every field in every cycle."""

from __future__ import annotations

import os
import time
from typing import Any

import cocotb
from cocotb.triggers import FallingEdge, Timer

from testbenches.job import Job, RunDone

CYCLES = 20_000


@cocotb.test()
async def every_cycle(dut: Any) -> None:
    """Read five signals of the reference core in each of some cycles."""
    job = Job.read(os.environ["CELLSTEP_JOB"])
    core = dut.dut
    fields = (core.byte_ready, core.sync_equal, core.status, core.dout, core.u_framer.data)
    dut.recording.value = 0
    dut.live.value = 0
    await Timer(1, "ns")
    dut.go.value = 1
    seen = set()
    started = time.perf_counter()
    for _ in range(CYCLES):
        await FallingEdge(dut.clk)
        seen.add(tuple(int(field.value) for field in fields))
    seconds = time.perf_counter() - started
    assert len(seen) > 1, "the fields never moved"
    job.leave(RunDone(0, CYCLES, seconds))
