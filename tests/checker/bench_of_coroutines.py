"""A user's bench in the style of coroutine drivers: one for the disk, one for the host."""

import os
import random

import cocotb
from cocotb.clock import Clock
from cocotb.triggers import ClockCycles, RisingEdge

from testbenches.checker import Checker

CYCLES = int(os.environ.get("BENCH_CYCLES", "6000"))
INPUTS = "rd wr adr din en_master en_channel slot mem_in xfer_on wr_on ws bit_stb bit_in"


async def disk(dut):
    """Deliver the mark 0x4489 now and then among random channel bits, 14 cycles each."""
    draw = random.Random(5)
    while True:
        word = 0x4489 if draw.random() < 0.4 else draw.getrandbits(16)
        for n in reversed(range(16)):
            await ClockCycles(dut.clk, 13)
            dut.bit_in.value = word >> n & 1
            dut.bit_stb.value = 1
            await RisingEdge(dut.clk)
            dut.bit_stb.value = 0


async def host(dut):
    """Poll status; set the level inputs by chance."""
    draw = random.Random(6)
    while True:
        await ClockCycles(dut.clk, draw.choice((1, 4, 5, 9)))
        dut.adr.value = 4
        dut.rd.value = 1
        await RisingEdge(dut.clk)
        dut.rd.value = 0
        if draw.random() < 0.05:
            dut.ws.value = draw.getrandbits(1)
            dut.xfer_on.value = draw.getrandbits(1)


@cocotb.test()
async def polled_disk(dut):
    """Run disk and host together."""
    for name in INPUTS.split():
        getattr(dut, name).value = 0
    dut.rst.value = 0
    if os.environ.get("BENCH_CHECKED", "1") == "1":
        Checker(dut, os.environ["BENCH_BINDING"], stop=os.environ.get("BENCH_STOP", "end"))
    Clock(dut.clk, 10, "ns").start()
    dut.rst.value = 1
    await ClockCycles(dut.clk, 4)
    dut.rst.value = 0
    cocotb.start_soon(disk(dut))
    cocotb.start_soon(host(dut))
    await ClockCycles(dut.clk, CYCLES)
