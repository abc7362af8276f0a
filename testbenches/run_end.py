"""How a cocotb test waits for the end of a run."""

from __future__ import annotations

from typing import Any, TypeAlias

from cocotb.triggers import Timer, ValueChange

Handle: TypeAlias = Any  # a simulator's handle has no type of its own


async def end_of_run(dut: Handle) -> None:
    """Wait until the run that has just been started is over.

    Verilator looks at a signal somebody waits for whenever time moves, and at a timer only when it
    is due. So the time a run takes is waited for first.
    """
    before = int(dut.finished.value)
    await Timer(1, "ns")
    if expected := int(dut.ends_in.value):
        await Timer(expected, "ns")
    if int(dut.finished.value) == before:
        await ValueChange(dut.finished)
