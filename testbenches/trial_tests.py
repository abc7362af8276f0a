"""The cocotb test of a margin sweep: it plays the trials the bench asks for, until none is left."""

from __future__ import annotations

import os
from multiprocessing.connection import Connection
from typing import Any

import cocotb
from cocotb.triggers import Timer

from testbenches.job import TRIALS
from testbenches.run_end import end_of_run


@cocotb.test()
async def trials(dut: Any) -> None:
    """Play the event file of each number that is asked for, and answer when its records lie."""
    bench = Connection(int(os.environ[TRIALS]))
    bench.send(None)  # built and started
    dut.live.value = 0
    dut.recording.value = 1
    while (number := bench.recv()) is not None:
        dut.run_index.value = number
        await Timer(1, "ns")
        dut.go.value = 1
        await end_of_run(dut)
        dut.go.value = 0
        await Timer(1, "ns")
        bench.send(number)
