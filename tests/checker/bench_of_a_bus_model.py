"""A user's bench with a bus-functional model from a package registry as its host."""

import os
import random

import cocotb
from bench_of_coroutines import disk
from cocotb.clock import Clock
from cocotb.triggers import ClockCycles
from cocotbext.axi import ApbBus, ApbMaster

from testbenches.checker import Checker

CYCLES = int(os.environ.get("BENCH_CYCLES", "5000"))
STATUS, SYNC_WORD = 4, 8


async def host(dut):
    """Write sync_word once, then read status by chance."""
    bus = ApbMaster(ApbBus.from_prefix(dut, "s_apb"), dut.clk, dut.rst)
    await bus.write(SYNC_WORD, (0x4489).to_bytes(2, "little"))
    draw = random.Random(8)
    while True:
        await bus.read(STATUS, 2)
        await ClockCycles(dut.clk, draw.choice((1, 3, 8)))


@cocotb.test()
async def bus_model(dut):
    """Run disk and host together."""
    if os.environ.get("BENCH_CHECKED", "1") == "1":
        Checker(dut, os.environ["BENCH_BINDING"])
    for name in ("ws", "bit_stb", "bit_in"):
        getattr(dut, name).value = 0
    Clock(dut.clk, 10, "ns").start()
    dut.rst.value = 1
    await ClockCycles(dut.clk, 4)
    dut.rst.value = 0
    cocotb.start_soon(disk(dut))
    cocotb.start_soon(host(dut))
    await ClockCycles(dut.clk, CYCLES)
