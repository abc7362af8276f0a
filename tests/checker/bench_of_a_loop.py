"""A user's bench in one plain loop that makes the clock itself, never twice the same period.

The core sits behind a bidirectional bus without a clock of its own, and has no reset.
"""

import os
import random

import cocotb
from cocotb.triggers import Timer

from testbenches.checker import Checker

STATUS, SYNC_WORD, TRANSFER, CONTROL = 4, 8, 12, 14
CYCLES = int(os.environ.get("BENCH_CYCLES", "4000"))


async def tick(dut, draw):
    """Make one period of the clock."""
    await Timer(draw.randrange(3, 9), "ns")
    dut.clk.value = 1
    await Timer(draw.randrange(3, 9), "ns")
    dut.clk.value = 0


async def write(dut, draw, checker, place, value):
    """Write a register over the bidirectional bus, for one edge."""
    names = {SYNC_WORD: "sync_word", TRANSFER: "transfer", CONTROL: "control"}
    dut.place.value, dut.from_host.value, dut.we_n.value = place, value, 0
    await Timer(1, "ns")
    checker.write(names[place], value)
    await tick(dut, draw)
    dut.we_n.value = 1


@cocotb.test()
async def loop(dut):
    """Write each register once, then deliver channel bits and read status by chance."""
    draw = random.Random(7)
    dut.clk.value, dut.bit_stb.value, dut.bit_in.value, dut.ws.value = 0, 0, 0, 1
    dut.oe_n.value, dut.we_n.value, dut.place.value = 1, 1, STATUS
    await Timer(1, "ns")
    checker = Checker(dut.dut, os.environ["BENCH_BINDING"], calls=True, reset=False)
    for place, value in ((TRANSFER, 0), (CONTROL, 0x001F), (SYNC_WORD, 0x4489)):
        await write(dut, draw, checker, place, value)
    word = ""
    for n in range(CYCLES):
        word = word or f"{0x4489 if draw.random() < 0.4 else draw.getrandbits(16):016b}"
        dut.bit_stb.value = int(n % 5 == 0)
        if n % 5 == 0:
            dut.bit_in.value, word = int(word[0]), word[1:]
        if reading := draw.random() < 0.2:
            dut.place.value, dut.oe_n.value = STATUS, 0
            await Timer(1, "ns")
            checker.read_status(dut.d.value)
        await tick(dut, draw)
        if reading:
            dut.oe_n.value = 1
