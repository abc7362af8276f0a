"""The user's core as a machine of bits, its ports wired as the harness wires them."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import z3

from refmodel.ground.errors import CannotRun
from testbenches.binding.ports import CorePorts
from testbenches.binding.schema import Binding
from testbenches.harness import Harness, wiring
from testbenches.hdl.smt import SmtMachine, machine
from testbenches.hdl.synth import NetSource, netlist

WRAPPER = "cellstep_core"
LONGEST_PAUSE = 16  # clock periods without the enable that are gone through one by one
Registers = dict[str, z3.BitVecRef]


@dataclass
class CoreSide:
    """The core over one cycle, from `drive` and `memory_word` as the harness gives them.

    `registers` are the core's, `after` what they hold after the cycle. `seen` gives what a name of
    the core shows: before the cycle's edge, as a bus samples it, or after it.
    """

    machine: SmtMachine
    drive: z3.BitVecRef
    memory_word: z3.BitVecRef | None
    after: Registers
    _enabled: list[tuple[z3.BitVecRef, z3.BitVecRef]]
    _paused: list[tuple[z3.BitVecRef, z3.BitVecRef]]

    @property
    def registers(self) -> Registers:
        """What the core holds, by name."""
        return {name: held for name, (held, _) in self.machine.registers.items()}

    def before(self, name: str) -> z3.BitVecRef:
        """Return what shows just before the cycle's edge."""
        return z3.substitute(self.machine.value(name), *self._enabled)

    def shown(self, name: str) -> z3.BitVecRef:
        """Return what shows when the cycle ends."""
        value = z3.substitute(self.machine.value(name), *self._paused)
        return z3.substitute(value, *_pairs(self.registers, self.after))


def core_side(binding: Binding, ports: CorePorts, harness: Harness, side: str = "core") -> CoreSide:
    """Return the core of a binding; `side` begins the names of its registers.

    Raises CannotRun for what yosys does not take or is no synchronous logic on the one clock.
    """
    wires = wiring(binding, ports, harness.drive)
    with tempfile.TemporaryDirectory(prefix="cellstep-") as folder:
        wrapper = Path(folder) / "cellstep_core.v"
        wrapper.write_text(_wrapper(wires), encoding="utf-8")
        files = (*ports.sources, wrapper)
        source = NetSource(files, ports.include_dirs, binding.core.defines)
        made = machine(netlist(source, WRAPPER), "clk", side)
    enable = made.ports.get("enable")
    on, off = ([(enable, z3.BitVecVal(n, 1))] if enable is not None else [] for n in (1, 0))
    paused = off if binding.clock.enable_every > 1 else on
    after = {
        name: z3.simplify(z3.substitute(following, *on))
        for name, (_, following) in made.registers.items()
    }
    if binding.clock.enable_every > 1:
        after = _paused(made, after, off, binding.clock.enable_every - 1)
    return CoreSide(
        made, made.ports["drive"], made.ports.get("memory_word"), after, list(on), list(paused)
    )


def _wrapper(wires: Mapping[str, Any]) -> str:
    """Return Verilog around the core that gives its inputs what the harness gives them."""
    outputs = dict(wires["outputs"])
    if wires["bus"] is not None:
        outputs["read_data"] = wires["bus"]["read_width"]
    ports = ["input clk", f"input [{wires['drive'].width - 1}:0] drive"]
    ports += ["input enable"] * bool(wires["enable"])
    ports += ["input [15:0] memory_word"] * bool(wires["memory"])
    ports += [f"output [{width - 1}:0] {name}" for name, width in outputs.items()]
    parameters = ", ".join(f".{name}({value})" for name, value in wires["parameters"].items())
    setting = f"#({parameters}) " if parameters else ""
    connected = ",\n    ".join(f".{port}({value})" for port, value in wires["connections"].items())
    return (
        f"module {WRAPPER}({', '.join(ports)});\n"
        f"  {wires['top']} {setting}dut (\n    {connected}\n  );\n"
        "endmodule\n"
    )


def _pairs(registers: Registers, after: Registers) -> list[tuple[z3.BitVecRef, z3.BitVecRef]]:
    return [(held, after[name]) for name, held in registers.items()]


def _paused(
    made: SmtMachine,
    after: Registers,
    off: list[tuple[z3.BitVecRef, z3.BitVecRef]],
    periods: int,
) -> Registers:
    """Return what the registers hold after clock periods more in which the enable is off."""
    held = {name: register for name, (register, _) in made.registers.items()}
    resting = {
        name: z3.simplify(z3.substitute(following, *off))
        for name, (_, following) in made.registers.items()
    }
    moving = {name: value for name, value in resting.items() if not _same(value, held[name])}
    if not moving:
        return after
    if periods > LONGEST_PAUSE:
        names = ", ".join(sorted(name.partition(".dut.")[2] for name in moving))
        raise CannotRun(
            f"{names}: moves while the clock enable is off, and {periods} clock periods without it"
            f" are more than the {LONGEST_PAUSE} a proof goes through"
        )
    for _ in range(periods):
        pairs = _pairs(held, after)
        after = {name: z3.substitute(value, *pairs) for name, value in resting.items()}
    return after


def _same(one: z3.BitVecRef, other: z3.BitVecRef) -> bool:
    """Return whether two expressions are equal for all values."""
    if one.eq(other):
        return True
    solver = z3.Solver()
    solver.add(one != other)
    return bool(solver.check() == z3.unsat)
