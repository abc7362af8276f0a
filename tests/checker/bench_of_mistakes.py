"""Benches that use the checker wrongly, and some that look so and are right."""

import os
from pathlib import Path

import cocotb
from bench_of_coroutines import INPUTS, disk, host
from cocotb.clock import Clock
from cocotb.triggers import ClockCycles, RisingEdge, Timer

from testbenches.checker import Checker

BINDING = Path(os.environ["BENCH_BINDING"])


def binding(name, old="", new=""):
    """Write the binding beside itself with one text changed; return its path."""
    text = BINDING.read_text()
    assert old in text
    path = BINDING.with_name(f"{name}.yaml")
    path.write_text(text.replace(old, new))
    return path


async def started(dut, reset=True):
    """Start the clock; reset the core."""
    for name in INPUTS.split():
        getattr(dut, name).value = 0
    Clock(dut.clk, 10, "ns").start()
    dut.rst.value = int(reset)
    await ClockCycles(dut.clk, 4)
    dut.rst.value = 0


@cocotb.test()
async def attached_late_and_reset_after(dut):
    """Begin with the next reset after a checker attached late."""
    await started(dut, reset=False)
    await ClockCycles(dut.clk, 20)
    Checker(dut, BINDING)
    dut.rst.value = 1
    await ClockCycles(dut.clk, 3)
    dut.rst.value = 0
    cocotb.start_soon(disk(dut))
    await ClockCycles(dut.clk, 500)


@cocotb.test()
async def attached_late_and_never_reset(dut):
    """Nothing is known of a core whose reset came before the checker."""
    await started(dut)
    Checker(dut, BINDING)
    await ClockCycles(dut.clk, 500)


@cocotb.test()
async def no_such_signal(dut):
    """Name a signal the simulation has not."""
    Checker(dut, binding("no_such_signal", "port: rd,", "port: rdd,"))
    await Timer(1, "ns")


@cocotb.test()
async def clock_of_four_bits(dut):
    """Two clocks in a vector are no clock."""
    Checker(dut, binding("clock_of_four_bits", "{port: clk}", "{port: adr}"))
    await Timer(1, "ns")


@cocotb.test()
async def wrong_width(dut):
    """One bit is no status."""
    Checker(dut, binding("wrong_width", "{status: status}", "{status: rd}"))
    await Timer(1, "ns")


@cocotb.test()
async def ends_within_an_access(dut):
    """Raise the read strobe when no edge comes any more."""
    Checker(dut, BINDING)
    await started(dut)
    await ClockCycles(dut.clk, 10)
    await Timer(2, "ns")
    dut.rd.value = 1
    await Timer(2, "ns")


@cocotb.test()
async def ends_before_the_answer(dut):
    """With a read latency of 2 the answer of the last read is still to come."""
    Checker(dut, binding("ends_before_the_answer", "read_latency: 0", "read_latency: 2"))
    await started(dut)
    dut.adr.value, dut.rd.value = 4, 1
    await RisingEdge(dut.clk)
    await Timer(1, "ns")
    dut.rd.value = 0
    await RisingEdge(dut.clk)
    await Timer(1, "ns")


@cocotb.test()
async def two_accesses_on_one_edge(dut):
    """Two accesses are handed over for one edge."""
    checker = Checker(dut, BINDING, calls=True)
    await started(dut)
    checker.read_status(0)
    checker.read_other()
    await ClockCycles(dut.clk, 10)


@cocotb.test()
async def handed_over_though_watched(dut):
    """Hand an access over though the bus is watched."""
    checker = Checker(dut, BINDING)
    await started(dut)
    checker.read_status(0)


@cocotb.test()
async def fails_on_its_own(dut):
    """Fail by itself."""
    Checker(dut, BINDING)
    await started(dut)
    raise AssertionError("the user's own")


@cocotb.test()
async def nothing_clocked(dut):
    """No edge of the clock ever comes."""
    Checker(dut, BINDING)
    dut.clk.value = 0
    await Timer(100, "ns")


@cocotb.test()
async def transfer_is_left_out(dut):
    """From a write that may start a transfer on, what it shows is left out; the rest is not."""
    memory = next(line for line in BINDING.read_text().splitlines() if line.startswith("memory:"))
    path = binding("transfer", memory)
    shown = "{status: status, lost_words: lost_words, underruns: underruns}"
    path.write_text(path.read_text().replace("{status: status}", shown))
    Checker(dut, path)
    await started(dut)
    cocotb.start_soon(disk(dut))
    await ClockCycles(dut.clk, 300)
    dut.adr.value, dut.din.value, dut.wr.value, dut.en_master.value = 12, 0x8005, 1, 1
    dut.en_channel.value = 1
    await ClockCycles(dut.clk, 2)
    dut.wr.value = 0
    cocotb.start_soon(host(dut))
    await ClockCycles(dut.clk, 900)
