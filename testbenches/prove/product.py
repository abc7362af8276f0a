"""Model and core side by side on the same inputs, and what must be equal on every edge."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import z3

from refmodel.block.fields import FIELD_NAMES, UNUSED, Layout
from refmodel.block.rules import Rules
from refmodel.ground.bus import HIGH, READ_OTHER
from refmodel.ground.errors import CannotRun
from refmodel.ground.stimulus import LEVEL_INPUTS
from refmodel.ground.word import WORD, WORD_BITS
from refmodel.profile import Profile
from refmodel.prove.block import SAMPLED, SymbolicBlock, symbolic_block
from refmodel.prove.system import System
from testbenches.binding.depth import depth_of, depth_told
from testbenches.binding.ports import CorePorts
from testbenches.binding.roles import GATES, MOVES, Watched
from testbenches.binding.schema import Binding
from testbenches.harness import Harness
from testbenches.prove.bus_side import INDEX_BITS, BusSide, bus_side, by_number
from testbenches.prove.core_side import CoreSide, core_side

AGE, RESET = "bench.age", "drive.reset"
FIRST_ACCESS = 2  # edges after the last one of the first reset, as a processor begins


@dataclass
class Product:
    """Both machines as one system. `levels` are the inputs held from edge to edge by name."""

    system: System
    bus: BusSide | None
    levels: list[str]
    block: SymbolicBlock
    sampled: dict[str, z3.BitVecRef]  # what the block samples, by the names of `Inputs`
    core_moves: z3.BoolRef  # the core takes a word from memory, or stores one, on this edge

    @property
    def writes_control(self) -> bool:
        """Whether the host can write control."""
        return not z3.is_bv_value(z3.simplify(self.sampled["write_control"]))


def product(binding: Binding, profile: Profile, ports: CorePorts, harness: Harness) -> Product:
    """Return model and core of a binding as one system.

    Raises CannotRun for a core that no proof can be made about.
    """
    _refuse(binding, harness)
    return _Builder(binding, profile, ports, harness).build()


def _refuse(binding: Binding, harness: Harness) -> None:
    """Raise CannotRun for a binding that says more than proofs know."""
    depth, shape = depth_of(binding), harness.shape
    if binding.disk.flux is not None:
        raise CannotRun("disk.flux: a core with a separator of its own cannot be proved yet")
    pulses = binding.lines.write_data
    shaped = pulses is not None and (pulses.form, pulses.cycles) != ("pulse", 1)
    if shaped or not depth.plain or depth.straight or (shape.hold, shape.idle) != (1, 0):
        told = ", ".join(depth_told(binding))
        raise CannotRun(f"{told}: a core that is so deep cannot be proved yet")


class _Builder:
    """Puts the parts together."""

    def __init__(
        self, binding: Binding, profile: Profile, ports: CorePorts, harness: Harness
    ) -> None:
        self._binding, self._profile, self._harness = binding, profile, harness
        self._drive = harness.drive
        self._core: CoreSide = core_side(binding, ports, harness)
        self._system = System()
        waived = binding.waived(date.today())
        self._lags = {n: binding.lag(n) for n in (*FIELD_NAMES, UNUSED) if n not in waived}
        self._lines = [w for w in binding.lines.watched() if w.lane not in waived]
        self._moves = binding.memory is not None and MOVES not in waived
        self._latency = harness.shape.read_latency

    def build(self) -> Product:
        """Return the product."""
        system = self._system
        self._count_age()
        inputs = self._inputs()
        idle = ("read_status", "write_transfer", "write_control")
        inputs |= {name: z3.BitVecVal(0, 1) for name in idle}
        self._bus = self._host()
        if self._bus is not None:
            inputs |= self._bus.model_inputs()
        self._inputs_of_model = inputs
        self._block = self._model(inputs)
        self._begin_core()
        self._put_in_drive()
        self._histories()
        self._claim_status()
        self._claim_reads()
        self._claim_lines()
        self._claim_moves()
        levels = [n for n in LEVEL_INPUTS if f"drive.{n}" in system.inputs]
        enables = (inputs[f"{name}_enable"] for name in GATES)
        gates = next(enables) & next(enables)
        sampled = inputs | {"gates": gates}
        return Product(system, self._bus, levels, self._block, sampled, self._core_moves)

    def _count_age(self) -> None:
        """Count the edges since the last one of the first reset, up to where all is compared."""
        most = max(self._lags.values(), default=0) + self._latency + FIRST_ACCESS + 1
        most = max(most, *(self._lag_of(w.lane) for w in self._lines), 1)
        age = self._system.register(AGE, most.bit_length(), 0)
        self._system.after[AGE] = z3.If(age == most, age, age + 1)
        self._age = age

    def _old(self, edges: int) -> z3.BoolRef:
        return z3.UGE(self._age, edges) if edges else z3.BoolVal(True)

    def _lag_of(self, line: str) -> int:
        return self._binding.latency.get(line, 0)

    def _inputs(self) -> dict[str, z3.BitVecRef]:
        """Take the inputs of disk, levels and memory, and return the model's."""
        system, binding = self._system, self._binding
        found: dict[str, z3.BitVecRef] = {
            name: z3.BitVecVal(LEVEL_INPUTS[name], 1) for name in LEVEL_INPUTS
        }
        found |= {name: z3.BitVecVal(0, 1) for name in ("slot",)}
        found["slot_data"] = z3.BitVecVal(0, WORD_BITS)
        names = ["reset", *binding.level_inputs, "bit_strobe", "bit"]
        names += ["slot"] * (binding.memory is not None)
        found |= {name: system.take(f"drive.{name}", 1) for name in names}
        if binding.memory is not None:
            found["slot_data"] = system.register("memory.word", WORD_BITS)
            system.take("memory.next", WORD_BITS)
        quiet = [found[name] == 0 for name in names if name != "reset"]
        begins = z3.And(found["reset"] == 1, *quiet)
        system.assumed["it begins with a reset, of the binding's length"] = z3.Implies(
            self._age == 0, begins
        )
        return found

    def _host(self) -> BusSide | None:
        if self._binding.bus is None:
            return None
        return bus_side(self._system, self._harness, self._old(FIRST_ACCESS))

    def _model(self, inputs: dict[str, z3.BitVecRef]) -> SymbolicBlock:
        """Add the model, what it samples in place."""
        fixed = {}
        for name, value in inputs.items():
            value = z3.simplify(value)
            if z3.is_bv_value(value):
                fixed[name] = value.as_long()
        if fixed.get("write_transfer") == 0:
            fixed["transfer"] = 0
        if fixed.get("write_control") == 0:
            fixed["control"] = 0
        block = symbolic_block(Rules.of(self._profile), fixed=fixed)
        pairs = [
            (taken, inputs[name.removeprefix(f"model.{SAMPLED}")])
            for name, taken in block.system.inputs.items()
        ]

        def put(value: z3.ExprRef) -> z3.ExprRef:
            return z3.simplify(z3.substitute(value, *pairs))

        system = self._system
        system.state |= block.system.state
        system.start |= block.system.start
        system.after |= {n: put(v) for n, v in block.system.after.items()}
        system.ranges |= {n: put(v) for n, v in block.system.ranges.items()}
        block.status_before, block.status = put(block.status_before), put(block.status)
        block.lines = {name: put(value) for name, value in block.lines.items()}
        block.moved, block.stored, block.word = map(put, (block.moved, block.stored, block.word))
        return block

    def _begin_core(self) -> None:
        """Add the core; it begins behind all edges of the first reset but the last one."""
        system, core = self._system, self._core
        reset = self._binding.reset.cycles - 1
        held = {
            name: core.machine.starts.get(name, z3.BitVec(f"{name} at power on", v.size()))
            for name, v in core.registers.items()
        }
        idle = [(core.drive, z3.BitVecVal(self._drive.mask("reset"), self._drive.width))]
        if core.memory_word is not None:
            idle.append((core.memory_word, z3.BitVecVal(0, WORD_BITS)))
        for _ in range(min(reset, 64)):
            pairs = [(v, held[name]) for name, v in core.registers.items()] + idle
            following = {
                name: z3.simplify(z3.substitute(value, *pairs))
                for name, value in core.after.items()
            }
            if all(following[name].eq(held[name]) for name in held):
                break
            held = following
        for name, register in core.registers.items():
            system.state[name] = register
            system.after[name] = core.after[name]
            if z3.is_bv_value(held[name]):
                system.start[name] = held[name]
        for unknown in core.machine.unknown:
            system.inputs[unknown.decl().name()] = unknown

    def _put_in_drive(self) -> None:
        """Give the core's ports what the harness gives them."""
        core, bus = self._core, self._bus
        slots: dict[str, z3.BitVecRef] = {
            name: self._inputs_of_model[name]
            for name in self._drive.slots
            if name in self._inputs_of_model
        }
        if bus is not None:
            slots["read"], slots["write"] = bus.read, bus.write
            slots["address"] = bus.address()
            if "write_data" in self._drive.slots:
                slots["write_data"] = bus.data(self._drive.slots["write_data"][1])
        ordered = sorted(self._drive.slots.items(), key=lambda item: -item[1][0])
        parts = [slots[name] for name, _ in ordered]
        word = z3.Concat(*parts) if len(parts) > 1 else parts[0]
        self._wires = [(core.drive, word)]
        if core.memory_word is not None:
            self._wires.append((core.memory_word, self._system.state["memory.word"]))
        for name in core.registers:
            self._system.after[name] = self._wired(self._system.after[name])

    def _wired(self, value: z3.ExprRef) -> z3.ExprRef:
        return z3.simplify(z3.substitute(value, *self._wires))

    def _seen(self, watched: Watched, before: bool = False) -> z3.BitVecRef:
        """Return what the core shows of something observed: 1 for active."""
        expression = watched.expression
        name = f"dut.{expression}"
        value = self._core.before(name) if before else self._core.shown(name)
        return self._wired(~value if watched.active == "low" else value)

    def _histories(self) -> None:
        """Keep what the model showed for as long as a core may lag behind it."""
        self._status = _History(
            self._system, "status", self._block.status, self._block.status_before, WORD_BITS
        )

    def _claim_status(self) -> None:
        """Claim each observed field of status equal, its latency later."""
        layout = self._profile.status
        for watched in self._binding.observed:
            names = list(self._lags) if watched.lane == "status" else [watched.lane]
            for name in names:
                if name not in self._lags:
                    continue
                shown = self._seen(watched)
                if watched.lane == "status":
                    shown = _part(shown, layout, name)
                lag = self._lags[name]
                wanted = _part(self._status.after(lag), layout, name)
                self._claim(f"status.{name}", self._old(lag), wanted == shown)

    def _claim_reads(self) -> None:
        """Claim that a read returns what status showed the cycle before."""
        bus, latency = self._bus, self._latency
        if bus is None or self._binding.bus is None or self._binding.bus.read_data is None:
            return
        data = self._wired(self._core.before("read_data"))
        width = data.size()
        number = bus.number
        for n in range(latency):  # the bus cycle that was on the bus so many edges ago
            held = self._system.register(f"bench.read.{n + 1}", INDEX_BITS, 0)
            self._system.after[f"bench.read.{n + 1}"] = number
            number = held
        status = [c if c.kind < READ_OTHER else None for c in bus.cycles]
        layout = self._profile.status
        for name, lag in self._lags.items():
            mask = by_number(
                number,
                bus.cycles,
                lambda c: c.mask if c in status else 0,
                WORD_BITS,
            )
            mask = mask & layout.mask_of(name)
            high = by_number(number, bus.cycles, lambda c: int(c.mask == HIGH and width < 16), 1)
            word = data if width >= WORD_BITS else z3.ZeroExt(WORD_BITS - width, data)
            word = z3.Extract(WORD_BITS - 1, 0, word)
            word = z3.If(high == 1, word << 8, word)
            wanted = self._status.before(latency + lag)
            same = ((word ^ wanted) & mask) == 0
            self._claim(f"read.{name}", self._old(lag + latency + 1), same)

    def _claim_lines(self) -> None:
        """Claim each observed output line equal, its latency later."""
        for watched in self._lines:
            lag, shown = self._lag_of(watched.lane), self._block.lines[watched.lane]
            before = self._system.register(f"bench.{watched.lane}.0", 1, 0) if lag else shown
            if lag:
                self._system.after[f"bench.{watched.lane}.0"] = shown
            history = _History(self._system, watched.lane, shown, before, 1)
            wanted = history.after(lag)
            self._claim(f"line.{watched.lane}", self._old(lag), wanted == self._seen(watched))

    def _claim_moves(self) -> None:
        """Claim that the core moves the words the model moves, and let memory follow the core."""
        memory, system, block = self._binding.memory, self._system, self._block
        self._core_moves = z3.BoolVal(False)
        if memory is None:
            return
        seen = {watched.lane: self._seen(watched, before=True) for watched in memory.watched()}
        slot = self._inputs_of_model["slot"]
        moves = slot & seen["request"]
        self._core_moves = z3.simplify(moves == 1)
        word, fresh = system.state["memory.word"], system.inputs["memory.next"]
        begins_again = self._inputs_of_model["reset"] == 1
        system.after["memory.word"] = z3.If(z3.Or(moves == 1, begins_again), fresh, word)
        if not self._moves:
            return
        stores = z3.Implies(block.stored == 1, seen["data_out"] == block.word)
        same = z3.And(
            moves == block.moved,
            z3.Implies(block.moved == 1, z3.And(seen["store"] == block.stored, stores)),
        )
        self._claim(f"slot.{MOVES}", self._old(1), same)

    def _claim(self, name: str, when: z3.BoolRef, holds: z3.BoolRef) -> None:
        self._system.claims[name] = z3.simplify(z3.Implies(when, holds))


class _History:
    """What something showed in the cycles before; registers are added as far back as asked."""

    def __init__(
        self,
        system: System,
        name: str,
        after: z3.BitVecRef,
        before: z3.BitVecRef,
        width: int,
    ) -> None:
        self._system, self._name, self._width = system, name, width
        self._after = after
        self._before = [before]

    def after(self, lag: int) -> z3.BitVecRef:
        """Return what showed `lag` cycles before the one that begins with this edge."""
        return self._after if lag == 0 else self.before(lag - 1)

    def before(self, cycles: int) -> z3.BitVecRef:
        """Return what showed `cycles` before the cycle that ends with this edge."""
        while len(self._before) <= cycles:
            name = f"bench.{self._name}.{len(self._before)}"
            held = self._system.register(name, self._width, 0)
            self._system.after[name] = self._before[-1]
            self._before.append(held)
        return self._before[cycles]


def _part(word: z3.BitVecRef, layout: Layout, name: str) -> z3.BitVecRef:
    """Return a field of a status word; of the unused bits all that is set."""
    if name == UNUSED:
        return word & (layout.mask_of(name) & WORD)
    field_ = layout[name]
    return z3.Extract(field_.msb, field_.lsb, word)
