"""The user's core as a machine of bits, its ports wired as the harness wires them."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import z3

from refmodel.ground.errors import CannotRun
from testbenches.binding.ports import CorePorts
from testbenches.binding.roles import Watched
from testbenches.binding.schema import Binding
from testbenches.harness import Harness, wiring
from testbenches.hdl.cut import cut
from testbenches.hdl.smt import SmtMachine, machine
from testbenches.hdl.synth import NetSource, netlist

WRAPPER = "cellstep_core"
LATE_RESET = "late_reset"  # the pin of an asynchronous reset
OWN_BITS = "own_"  # how the pin of a channel bit of the core's own separator begins
LONGEST_PAUSE = 16  # clock periods without the enable that are gone through one by one
Registers = dict[str, z3.BitVecRef]


@dataclass
class CoreSide:
    """The core over one cycle, from what the harness gives its pins.

    `pins` are the inputs by the harness's name for them: `drive`, `memory_word`, levels that pass
    straight, and `late_reset`. `registers` are the core's, `after` what they hold after the cycle.
    `cleared` stands for the asynchronous reset as it is behind the edge.
    """

    machine: SmtMachine
    pins: dict[str, z3.BitVecRef]
    after: Registers
    cleared: z3.BitVecRef
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
        """Return what shows when the cycle ends, from what the registers hold then."""
        return z3.substitute(self.machine.value(name), *self._paused)


def core_side(
    binding: Binding, ports: CorePorts, harness: Harness, side: str, own_bits: Sequence[Watched]
) -> CoreSide:
    """Return the core of a binding; `side` begins the names of its registers.

    It is cut where `own_bits` come from its own separator: each has a pin instead.

    Raises CannotRun for what yosys does not take or is no synchronous logic on the one clock.
    """
    wires = wiring(binding, ports, harness.drive)
    late = binding.reset.kind == "asynchronous"
    with tempfile.TemporaryDirectory(prefix="cellstep-") as folder:
        wrapper = Path(folder) / "cellstep_core.v"
        wrapper.write_text(wrapper_of(wires), encoding="utf-8")
        files = (*ports.sources, wrapper)
        source = NetSource(files, ports.include_dirs, binding.core.defines, late)
        module = netlist(source, WRAPPER)
    own = {f"{OWN_BITS}{w.lane}": f"dut.{w.expression}" for w in own_bits}
    cut(module, own)
    made = machine(module, "clk", side)
    _refuse_own_enable(binding)
    enable = made.ports.pop("enable", None)
    on, off = ([(enable, z3.BitVecVal(n, 1))] if enable is not None else [] for n in (1, 0))
    gaps = binding.clock.gaps
    now, cleared = made.ports.get(LATE_RESET), z3.BitVec(f"{side}.cleared", 1)
    behind = [(now, cleared)] if now is not None else []
    after = {name: z3.substitute(following, *on) for name, (_, following) in made.registers.items()}
    after = _cleared(made, after, behind)
    if max(gaps):
        after = _paused(made, after, [*off, *behind], gaps, bool(own))
    after = {name: z3.simplify(value) for name, value in after.items()}
    pins = {name: pin for name, pin in made.ports.items() if name != "clk"}
    paused = off if max(gaps) else on
    return CoreSide(made, pins, after, cleared, list(on), [*paused, *behind])


def _refuse_own_enable(binding: Binding) -> None:
    if binding.clock.enabled_by is not None:
        raise CannotRun(
            "clock.enabled_by: a core that says itself which edges count has cycles of unknown"
            " length, which a proof does not follow"
        )


def _cleared(
    made: SmtMachine, after: Registers, behind: list[tuple[z3.BitVecRef, z3.BitVecRef]]
) -> Registers:
    """Return what the registers hold once an asynchronous reset behind the edge has come."""
    found = dict(after)
    for name, (clears, value) in made.clears.items():
        pairs = [*_pairs({n: held for n, (held, _) in made.registers.items()}, after), *behind]
        found[name] = z3.If(z3.substitute(clears, *pairs) == 1, value, after[name])
    return found


def wrapper_of(wires: Mapping[str, Any]) -> str:
    """Return Verilog around the core that gives its inputs what the harness gives them."""
    bus = wires["bus"]
    outputs = dict(wires["outputs"])
    width = wires["drive"].width
    ports = ["input clk", f"input [{width - 1}:0] drive"]
    ports += ["input enable"] * bool(wires["enable"])
    ports += [f"input {LATE_RESET}"] * bool(wires["late_reset"])
    ports += [f"input straight_{name}" for name in (*wires["straight"], *wires["late_gates"])]
    ports += ["input [15:0] memory_word"] * bool(wires["memory"])
    inside = []
    if bus is not None:
        outputs["read_data"] = bus["read_width"]
        inside = list(_bus_lines(bus, width))
    ports += [f"output [{bits - 1}:0] {name}" for name, bits in outputs.items()]
    parameters = ", ".join(f".{name}({value})" for name, value in wires["parameters"].items())
    setting = f"#({parameters}) " if parameters else ""
    connected = ",\n    ".join(f".{port}({value})" for port, value in wires["connections"].items())
    return (
        f"module {WRAPPER}({', '.join(ports)});\n"
        + "".join(f"  {line}\n" for line in inside)
        + f"  {wires['top']} {setting}dut (\n    {connected}\n  );\n"
        "endmodule\n"
    )


def _bus_lines(bus: Mapping[str, Any], width: int) -> Iterator[str]:
    """Yield the wires between core and host, as the harness has them."""
    bits = f"[{bus['read_width'] - 1}:0]"
    if bus["asynchronous"]:
        yield f"wire [{width - 1}:0] host_lines = drive;"
    if bus["shared"]:
        yield f"wire {bits} data_lines = {bus['writes']} ? {bus['data']} : {bus['read_width']}'bz;"
        yield f"assign read_data = {bus['read']};"
    elif bus["read"] != "read_lines":
        yield f"wire {bits} read_lines;"
        yield f"assign read_data = {bus['read']};"


def _pairs(registers: Registers, after: Registers) -> list[tuple[z3.BitVecRef, z3.BitVecRef]]:
    return [(held, after[name]) for name, held in registers.items()]


def _paused(
    made: SmtMachine,
    after: Registers,
    off: list[tuple[z3.BitVecRef, z3.BitVecRef]],
    gaps: Sequence[int],
    separates: bool,
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
    names = ", ".join(sorted(name.partition(".dut.")[2] for name in moving))
    if separates:
        raise CannotRun(
            f"{names}: moves while the clock enable is off; a proof of a core with a separator of"
            " its own does not follow that"
        )
    if max(gaps) > LONGEST_PAUSE:
        raise CannotRun(
            f"{names}: moves while the clock enable is off, and {max(gaps)} clock periods without"
            f" it are more than the {LONGEST_PAUSE} a proof goes through"
        )
    if len({*gaps}) > 1:
        raise CannotRun(
            f"{names}: moves while the clock enable is off, and not always for as many periods:"
            " a proof does not follow that"
        )
    for _ in range(gaps[0]):
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
