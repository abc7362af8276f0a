"""A bench as a user may write it in cocotb, with and without the checker: how long each takes."""

from __future__ import annotations

import os
import random
import time
from typing import Any

import cocotb
from cocotb.clock import Clock
from cocotb.triggers import ClockCycles, RisingEdge

from testbenches.checker import Checker
from testbenches.job import Job, RunDone

CYCLES = 200_000
INPUTS = "rd wr adr din en_master en_channel slot mem_in xfer_on wr_on ws bit_stb bit_in rst"


async def disk(dut: Any) -> None:
    """Deliver a random channel bit every 14 cycles."""
    draw = random.Random(5)
    while True:
        await ClockCycles(dut.clk, 13)
        dut.bit_in.value = draw.getrandbits(1)
        dut.bit_stb.value = 1
        await RisingEdge(dut.clk)
        dut.bit_stb.value = 0


async def host(dut: Any) -> None:
    """Read status every few cycles."""
    draw = random.Random(6)
    while True:
        await ClockCycles(dut.clk, draw.choice((4, 8, 9)))
        dut.adr.value = 4
        dut.rd.value = 1
        await RisingEdge(dut.clk)
        dut.rd.value = 0


@cocotb.test()
async def own_bench(dut: Any) -> None:
    """Run both for some cycles; the comparison, which follows the last of them, counts, too."""
    job = Job.read(os.environ["CELLSTEP_JOB"])
    for name in INPUTS.split():
        getattr(dut, name).value = 0
    binding = os.environ["CELLSTEP_CHECKED"]
    started = time.perf_counter()
    checker = Checker(dut, binding) if binding else None
    Clock(dut.clk, 10, "ns").start()
    dut.rst.value = 1
    await ClockCycles(dut.clk, 4)
    dut.rst.value = 0
    cocotb.start_soon(disk(dut))
    cocotb.start_soon(host(dut))
    await ClockCycles(dut.clk, CYCLES)
    if checker is not None:
        checker.finish()
    job.leave(RunDone(0, CYCLES, time.perf_counter() - started))
