"""The cocotb test of a session: it starts each run, serves a live host, and notes the end."""

from __future__ import annotations

import os
import time
from dataclasses import replace
from typing import Any

import cocotb
from cocotb.triggers import Timer

from testbenches.job import Job, Run, RunDone
from testbenches.run_end import end_of_run


@cocotb.test()
async def session(dut: Any) -> None:
    """Play every run of the job; leave the results after each, so that a crash loses one only."""
    job = Job.read(os.environ["CELLSTEP_JOB"])
    if job.traced:
        await _play_with_snapshots(dut, job)
        return
    for run in job.runs():
        job.leave(await play(dut, run))


async def _play_with_snapshots(dut: Any, job: Job) -> None:
    """Play every run so that each can be gone through again from within."""
    from testbenches.snapshots import Snapshots

    snapshots = Snapshots(dut, job)
    for run in job.runs():
        keeping = cocotb.start_soon(snapshots.keep(run.index))
        done = await play(dut, run)
        if snapshots.goes_on:  # a copy, which keep brings to its end
            await keeping
        keeping.cancel()
        job.leave(done)


async def play(dut: Any, run: Run) -> RunDone:
    """Play one run to its end."""
    dut.run_index.value = run.index
    dut.recording.value = int(run.recording)
    dut.live.value = 0
    host = None
    if run.live is not None:
        from testbenches.live_bus import LiveBus  # imports the model

        host = LiveBus(dut, run.live, run.index)
    await Timer(1, "ns")
    started = time.perf_counter()
    dut.go.value = 1
    if host is None:
        await end_of_run(dut)
    else:
        await host.serve()
    seconds = time.perf_counter() - started
    cycles, stuck = int(dut.cycle.value), int(dut.stuck.value)
    dut.go.value = 0
    await Timer(1, "ns")
    if host is None:
        return RunDone(run.index, cycles, seconds, stuck=stuck)
    return replace(host.done(run.index, cycles, seconds), stuck=stuck)
