"""The cocotb test of a two-wire controller: an expander answers it, and each edge is noted."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import cocotb
from cocotb.handle import Immediate
from cocotb.triggers import Timer

from refmodel.drive.expander import Expander
from testbenches.job import Job


@cocotb.test()
async def wire(dut: Any) -> None:
    """Play the plan that lies in the job's folder; leave every edge of the wires beside it."""
    folder = Job.read(os.environ["CELLSTEP_JOB"]).folder
    plan = json.loads((folder / "plan.json").read_text())
    pins = plan["inputs"]
    target = Expander(plan["address"], lambda bank: pins >> (8 * bank) & 0xFF, plan["deaf"])
    await Timer(1, "ns")
    dut.host_end.value = Immediate(plan["cycles"])
    bench = _Bench(dut, target, plan)
    bench.place(0)
    dut.go.value = 1
    asked = dut.answer.value_change
    while bench.stop < plan["cycles"]:
        await asked
        bench.take()
    found = {"edges": bench.edges, "outputs": bench.outputs, "inputs": int(dut.host_inputs.value)}
    (folder / "wire.json").write_text(json.dumps(found))
    Path(folder / "done").touch()


class _Bench:
    """Answers each stop of the harness: an edge of the wires, or a cycle that was asked for."""

    def __init__(self, dut: Any, target: Expander, plan: dict[str, Any]) -> None:
        self._dut, self._target, self._plan = dut, target, plan
        self._changes = [tuple(change) for change in plan["changes"]]  # cycle, outputs
        self._held_until = 0
        self._held = self._pulls = 0
        self.stop = 0
        self.edges: list[tuple[int, int]] = []
        self.outputs: list[tuple[int, int]] = []

    def take(self) -> None:
        """Note the wires, let the target answer, and say where to stop next."""
        cycle, seen = int(self._dut.cycle.value), int(self._dut.host_seen.value)
        self._note(cycle, seen)
        if self._held and cycle >= self._held_until:
            self._held = 0
            self._dut.host_scl_low.value = Immediate(0)
        self._note(cycle, self._settled(seen))
        self.place(cycle)

    def _note(self, cycle: int, seen: int) -> None:
        """Note an edge of the wires, if it is one, and let the target answer it."""
        if self.edges and self.edges[-1][1] == seen:
            return
        self.edges.append((cycle, seen))
        before = self._target.outputs
        self._pulls = self._target.edge(seen >> 1 & 1, seen & 1)
        self._dut.host_sda_low.value = Immediate(self._pulls)
        if self._target.outputs != before:
            self.outputs.append((cycle, self._target.outputs))
        self._stretch(cycle, seen)

    def _settled(self, seen: int) -> int:
        """Return what the wires are once the target has answered: time stands still until then."""
        scl = not (seen >> 3 & 1 or self._held)
        sda = not (seen >> 2 & 1 or self._pulls)
        return seen & 0b1100 | scl << 1 | sda

    def _stretch(self, cycle: int, seen: int) -> None:
        """Hold SCL low for the plan's cycles whenever the core has pulled it low."""
        if self._plan["stretch"] and seen >> 3 and not self._held:
            self._held, self._held_until = 1, cycle + self._plan["stretch"]
            self._dut.host_scl_low.value = Immediate(1)

    def place(self, cycle: int) -> None:
        """Drive what is due, and set the next stop."""
        while self._changes and self._changes[0][0] <= cycle:
            self._dut.host_outputs.value = Immediate(self._changes.pop(0)[1])
        stops = [self._plan["cycles"] - 1] if cycle < self._plan["cycles"] - 1 else []
        stops += [self._changes[0][0]] if self._changes else []
        stops += [self._held_until] if self._held else []
        self.stop = max(cycle + 1, min(stops, default=self._plan["cycles"]))
        self._dut.host_stop.value = Immediate(self.stop)
