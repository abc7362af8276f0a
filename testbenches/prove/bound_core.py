"""A core of a binding joined to a system: its ports are given what the harness gives them."""

from __future__ import annotations

from collections.abc import Mapping

import z3

from refmodel.ground.bus import HIGH
from refmodel.ground.word import WORD_BITS
from refmodel.prove.system import System
from testbenches.binding.ports import CorePorts
from testbenches.binding.roles import Watched
from testbenches.binding.schema import Binding
from testbenches.harness import Harness
from testbenches.prove.bus_side import BusSide
from testbenches.prove.core_side import CoreSide, core_side

MEMORY_WORD = "memory.word"  # what memory would give next
LONGEST_RESET = 64  # cycles of the first reset that are gone through one by one


class BoundCore:
    """A core, what it shows, and what it moves; `side` begins the names of its registers.

    `moves` is 1 on an edge on which a word moves to or from memory.
    """

    def __init__(
        self, binding: Binding, ports: CorePorts, harness: Harness, side: str = "core"
    ) -> None:
        self.binding, self.harness = binding, harness
        self.part: CoreSide = core_side(binding, ports, harness, side)
        self._wires: list[tuple[z3.BitVecRef, z3.BitVecRef]] = []

    def join(self, system: System, inputs: Mapping[str, z3.BitVecRef], bus: BusSide | None) -> None:
        """Add the core to a system in which the harness has these inputs, by the model's names."""
        self._begin(system)
        self._wire(system, inputs, bus)
        for name in self.part.registers:
            system.after[name] = self._wired(system.after[name])
        self.moves = z3.BitVecVal(0, 1)
        if self.binding.memory is not None:
            self.moves = z3.simplify(inputs["slot"] & self.memory()["request"])

    def _begin(self, system: System) -> None:
        """Add the registers; they begin behind all edges of the first reset but the last one."""
        part, drive = self.part, self.harness.drive
        held = {
            name: part.machine.starts.get(name, z3.BitVec(f"{name} at power on", v.size()))
            for name, v in part.registers.items()
        }
        idle = [(part.drive, z3.BitVecVal(drive.mask("reset"), drive.width))]
        if part.memory_word is not None:
            idle.append((part.memory_word, z3.BitVecVal(0, WORD_BITS)))
        for _ in range(min(self.binding.reset.cycles - 1, LONGEST_RESET)):
            pairs = [(v, held[name]) for name, v in part.registers.items()] + idle
            following = {
                name: z3.simplify(z3.substitute(value, *pairs))
                for name, value in part.after.items()
            }
            if all(following[name].eq(held[name]) for name in held):
                break
            held = following
        for name, register in part.registers.items():
            system.state[name] = register
            system.after[name] = part.after[name]
            if z3.is_bv_value(held[name]):
                system.start[name] = held[name]
        for unknown in part.machine.unknown:
            system.inputs[unknown.decl().name()] = unknown

    def _wire(
        self, system: System, inputs: Mapping[str, z3.BitVecRef], bus: BusSide | None
    ) -> None:
        """Say what each slot of the harness's word carries."""
        drive = self.harness.drive
        slots = {name: inputs[name] for name in drive.slots if name in inputs}
        if bus is not None:
            slots["read"], slots["write"] = bus.read, bus.write
            slots["address"] = bus.address()
            if "write_data" in drive.slots:
                slots["write_data"] = bus.data(drive.slots["write_data"][1])
        slots |= {  # lines back from a drive: anything at any time
            name: system.take(f"drive.{name}", width)
            for name, (_, width) in drive.slots.items()
            if name not in slots
        }
        ordered = sorted(drive.slots.items(), key=lambda item: -item[1][0])
        parts = [slots[name] for name, _ in ordered]
        word = z3.Concat(*parts) if len(parts) > 1 else parts[0]
        self._wires = [(self.part.drive, word)]
        if self.part.memory_word is not None:
            self._wires.append((self.part.memory_word, system.state[MEMORY_WORD]))

    def _wired(self, value: z3.ExprRef) -> z3.ExprRef:
        return z3.simplify(z3.substitute(value, *self._wires))

    def shown(self, watched: Watched) -> z3.BitVecRef:
        """Return what something observed shows when the cycle ends: 1 for active."""
        return self._active(watched, self.part.shown(f"dut.{watched.expression}"))

    def before(self, watched: Watched) -> z3.BitVecRef:
        """Return what something observed shows just before the cycle's edge."""
        return self._active(watched, self.part.before(f"dut.{watched.expression}"))

    def _active(self, watched: Watched, value: z3.BitVecRef) -> z3.BitVecRef:
        return self._wired(~value if watched.active == "low" else value)

    @property
    def reads(self) -> bool:
        """Whether the core returns something to a read."""
        return self.binding.bus is not None and self.binding.bus.read_data is not None

    def read_word(self, high: z3.BitVecRef) -> z3.BitVecRef:
        """Return what the bus carries to the host, the byte at the bits of the word it is.

        `high` is 1 where a bus cycle carries the high byte.
        """
        data = self._wired(self.part.before("read_data"))
        width = data.size()
        word = data if width >= WORD_BITS else z3.ZeroExt(WORD_BITS - width, data)
        word = z3.Extract(WORD_BITS - 1, 0, word)
        return z3.If(high == 1, word << 8, word) if width < WORD_BITS else word

    def memory(self) -> dict[str, z3.BitVecRef]:
        """Return what the core says of memory before the edge: request, store, data_out."""
        assert self.binding.memory is not None
        return {watched.lane: self.before(watched) for watched in self.binding.memory.watched()}


def is_high(mask: int) -> bool:
    """Return whether a bus cycle carries the high byte alone."""
    return mask == HIGH
