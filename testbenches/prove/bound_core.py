"""A core of a binding joined to a system: its ports are given what the harness gives them."""

from __future__ import annotations

from collections.abc import Mapping

import z3

from refmodel.ground.bus import HIGH
from refmodel.ground.word import WORD_BITS
from refmodel.prove.system import System
from testbenches.binding.ports import CorePorts
from testbenches.binding.roles import GATES, Watched
from testbenches.binding.schema import Binding
from testbenches.harness import Harness
from testbenches.prove.bus_side import BusSide
from testbenches.prove.core_side import LATE_RESET, OWN_BITS, CoreSide, core_side

MEMORY_WORD = "memory.word"  # what memory would give next
STRAIGHT = "straight_"  # how the pin of a level without a register is called
MODELS_NAME = {"bit_strobe": "bit_strobe", "bit_value": "bit"}  # of a channel bit
LONGEST_RESET = 64  # cycles of the first reset that are gone through one by one


class BoundCore:
    """A core, what it shows, and what it moves; `side` begins the names of its registers.

    `moves` is 1 on an edge on which a word moves to or from memory. A core that makes its channel
    bits itself is cut there, unless it is `whole`.
    """

    def __init__(
        self, binding: Binding, ports: CorePorts, harness: Harness, side: str, whole: bool
    ) -> None:
        self.binding, self.harness = binding, harness
        self.own_bits = [] if whole else binding.channel_bit_observed
        self.part: CoreSide = core_side(binding, ports, harness, side, self.own_bits)
        self.moves = z3.BitVecVal(0, 1)

    def join(self, system: System, inputs: Mapping[str, z3.BitVecRef], bus: BusSide | None) -> None:
        """Add the core to a system in which the harness has these inputs, by the model's names."""
        self._begin(system)
        word = self._word(system, inputs, bus)
        part, reset = self.part, inputs["reset"]
        edge = [(part.cleared, reset)]
        if "drive" in part.pins:
            edge.append((part.pins["drive"], word))
        if "memory_word" in part.pins:
            memory = system.state[MEMORY_WORD]  # the bench offers it in a slot, else a wrong word
            offered = z3.If(inputs["slot"] == 1, memory, ~memory)
            edge.append((part.pins["memory_word"], offered))
        if LATE_RESET in part.pins:  # released before the edge, and there behind it
            before = _register_once(system, "bench.late_reset", reset, 1)
            edge.append((part.pins[LATE_RESET], before & reset))
        look, behind = list(edge), list(edge)
        for name, watched in self._own_bits():
            pin, taken = part.pins[name], inputs[MODELS_NAME[watched.lane]]
            comes = (pin, ~taken if watched.active == "low" else taken)
            edge.append(comes)
            look.append(comes)
            behind.append((pin, system.take(f"{name} behind the edge", 1)))
        for name, pin in part.pins.items():
            if name.startswith(STRAIGHT):
                level = inputs[name.removeprefix(STRAIGHT)]
                driven = _register_once(system, f"bench.{name}", level, 0)
                gate = name.removeprefix(STRAIGHT) in GATES
                edge.append((pin, level if gate else driven))
                look.append((pin, driven))
                behind.append((pin, level))
        self._edge, self._look = edge, look
        for name in part.registers:
            system.after[name] = _put(system.after[name], edge)
        held = [(register, system.after[name]) for name, register in part.registers.items()]
        self._behind = [*behind, *held]
        if self.binding.memory is not None:
            taken = inputs["slot"] & ~inputs["reset"]  # memory is in reset, too
            self.moves = z3.simplify(taken & self.memory()["request"])

    def _begin(self, system: System) -> None:
        """Add the registers; they begin behind all edges of the first reset but the last one."""
        part, drive = self.part, self.harness.drive
        held = {
            name: part.machine.starts.get(name, z3.BitVec(f"{name} at power on", v.size()))
            for name, v in part.registers.items()
        }
        ones = {"drive": drive.mask("reset"), LATE_RESET: 1}
        idle = [
            (pin, z3.BitVecVal(ones.get(name, 0), pin.size()))
            for name, pin in part.pins.items()
            if not name.startswith(OWN_BITS)
        ]
        idle.append((part.cleared, z3.BitVecVal(1, 1)))
        for _ in range(min(self.binding.reset.cycles - 1, LONGEST_RESET)):
            pairs = [(v, held[name]) for name, v in part.registers.items()] + idle
            following = {name: _put(value, pairs) for name, value in part.after.items()}
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

    def _own_bits(self) -> list[tuple[str, Watched]]:
        """Return the pins in the place of the core's own separator, and what shows there."""
        return [(f"{OWN_BITS}{w.lane}", w) for w in self.own_bits]

    def _word(
        self, system: System, inputs: Mapping[str, z3.BitVecRef], bus: BusSide | None
    ) -> z3.BitVecRef:
        """Return the harness's word of this edge."""
        drive = self.harness.drive
        slots = {name: inputs[name] for name in drive.slots if name in inputs}
        if bus is not None:
            slots["read"], slots["write"] = bus.read, bus.write
            slots["address"] = bus.address()
            slots["counts"] = z3.BitVecVal(0, 1)  # for the harness alone
            if "elsewhere" in drive.slots:
                slots |= self._elsewhere(system, bus)
            if "write_data" in drive.slots:
                slots["write_data"] = bus.data(drive.slots["write_data"][1])
        slots |= {  # lines back from a drive: anything at any time
            name: system.take(f"drive.{name}", width)
            for name, (_, width) in drive.slots.items()
            if name not in slots
        }
        ordered = sorted(drive.slots.items(), key=lambda item: -item[1][0])
        parts = [slots[name] for name, _ in ordered]
        return z3.Concat(*parts) if len(parts) > 1 else parts[0]

    def _elsewhere(self, system: System, bus: BusSide) -> dict[str, z3.BitVecRef]:
        """Let the host access other devices, at any address, while it has nothing to do here.

        Where an access is one edge long: what is held is not let go in its middle.
        """
        none, shape, own = z3.BitVecVal(0, 1), self.harness.shape, self.binding.bus
        if shape.hold > 1 or shape.idle or own is None or own.acknowledge is not None:
            return {"elsewhere": none}
        other, write = system.take("host.elsewhere", 1), system.take("host.writes_elsewhere", 1)
        waits = system.state.get("host.waits", none)
        other = z3.If(z3.And(bus.number == 0, waits == 0), other, none)
        return {
            "elsewhere": other,
            "read": bus.read | other & ~write,
            "write": bus.write | other & write,
        }

    def shown(self, watched: Watched) -> z3.BitVecRef:
        """Return what something observed shows when the cycle ends: 1 for active."""
        value = self.part.shown(f"dut.{watched.expression}")
        return _put(~value if watched.active == "low" else value, self._behind)

    def before(self, watched: Watched) -> z3.BitVecRef:
        """Return what something observed shows just before the cycle's edge."""
        value = self.part.before(f"dut.{watched.expression}")
        return _put(~value if watched.active == "low" else value, self._edge)

    @property
    def reads(self) -> bool:
        """Whether the core returns something to a read."""
        bus = self.binding.bus
        return bus is not None and (bus.read_data is not None or bus.data is not None)

    def read_word(self, high: z3.BitVecRef) -> z3.BitVecRef:
        """Return what the bus carries to the host, the byte at the bits of the word it is.

        `high` is 1 where a bus cycle carries the high byte.
        """
        data = _put(self.part.before("read_data"), self._look)
        width = data.size()
        word = data if width >= WORD_BITS else z3.ZeroExt(WORD_BITS - width, data)
        word = z3.Extract(WORD_BITS - 1, 0, word)
        return z3.If(high == 1, word << 8, word) if width < WORD_BITS else word

    def memory(self) -> dict[str, z3.BitVecRef]:
        """Return what the core says of memory before the edge: request, store, data_out."""
        memory = self.binding.memory
        assert memory is not None
        found = {"store": z3.BitVecVal(memory.stores, 1), "data_out": z3.BitVecVal(0, WORD_BITS)}
        return found | {watched.lane: self.before(watched) for watched in memory.watched()}


def _put(value: z3.ExprRef, wires: list[tuple[z3.BitVecRef, z3.BitVecRef]]) -> z3.ExprRef:
    return z3.simplify(z3.substitute(value, *wires))


def _register_once(system: System, name: str, follows: z3.BitVecRef, start: int) -> z3.BitVecRef:
    """Return a register that follows something one edge later; two cores share it."""
    if name not in system.state:
        system.register(name, follows.size(), start)
        system.after[name] = follows
    return system.state[name]


def is_high(mask: int) -> bool:
    """Return whether a bus cycle carries the high byte alone."""
    return mask == HIGH
