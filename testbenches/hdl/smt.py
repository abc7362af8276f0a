"""A netlist as bit vectors: what each register holds next, and what each name shows."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from graphlib import CycleError, TopologicalSorter
from typing import Any

import z3

from refmodel.ground.errors import CannotRun
from testbenches.hdl.gates import GATES, Gate
from testbenches.hdl.synth import Module

Bit = int | str  # yosys's: the number of a net, or "0", "1", "x", "z"
_ODD = str.maketrans("", "", "\\|")  # what no name of a solver's variable may have
REGISTERS = ("$dff", "$adff", "$ff")
_SELECT = re.compile(r"\[(\d+)(?::(\d+))?\]$")


@dataclass
class SmtMachine:
    """A core between two clock edges.

    `registers` has each register and what it holds next, `starts` those with a value to begin
    with, `ports` the inputs, `unknown` bits that the source leaves undecided: they may be
    anything. `clears` has registers with an asynchronous reset: when it comes, and their value.
    """

    module: Module
    clock: str
    side: str = "core"  # how the names of registers begin
    registers: dict[str, tuple[z3.BitVecRef, z3.BitVecRef]] = field(default_factory=dict)
    starts: dict[str, z3.BitVecRef] = field(default_factory=dict)
    ports: dict[str, z3.BitVecRef] = field(default_factory=dict)
    unknown: list[z3.BitVecRef] = field(default_factory=list)
    clears: dict[str, tuple[z3.BitVecRef, z3.BitVecRef]] = field(default_factory=dict)
    _bits: dict[Bit, tuple[z3.BitVecRef, int]] = field(default_factory=dict)

    def value(self, name: str) -> z3.BitVecRef:
        """Return what a net shows, by its name below the top: `u0.flags[3]`.

        Raises CannotRun when yosys has kept no such name.
        """
        return self.vector(bits_named(self.module, name))

    def vector(self, bits: list[Bit]) -> z3.BitVecRef:
        """Return bits, the lowest first, as one vector; neighbours of one source stay together."""
        import z3

        runs: list[tuple[z3.BitVecRef, int, int]] = []
        for bit in bits:
            source, at = self._bit(bit)
            if runs and runs[-1][0].eq(source) and runs[-1][2] + 1 == at:
                runs[-1] = (source, runs[-1][1], at)
            else:
                runs.append((source, at, at))
        parts = [
            source if (low, high) == (0, source.size() - 1) else z3.Extract(high, low, source)
            for source, low, high in reversed(runs)
        ]
        return parts[0] if len(parts) == 1 else z3.Concat(*parts)

    def drive(self, bits: list[Bit], value: z3.BitVecRef) -> None:
        """Say what drives some nets."""
        self._bits.update((bit, (value, n)) for n, bit in enumerate(bits))

    def _bit(self, bit: Bit) -> tuple[z3.BitVecRef, int]:
        import z3

        if bit in ("0", "1"):
            return z3.BitVecVal(int(bit), 1), 0
        if bit in ("x", "z") or bit not in self._bits:
            self.unknown.append(z3.BitVec(f"{self.side}.unknown.{len(self.unknown)}", 1))
            if bit not in ("x", "z"):
                self._bits[bit] = (self.unknown[-1], 0)
            return self.unknown[-1], 0
        return self._bits[bit]


def bits_named(module: Module, name: str) -> list[Bit]:
    """Return the bits of a net by its name below the top, the lowest first: `u0.flags[3]`.

    Raises CannotRun when yosys has kept no such name.
    """
    nets = module["netnames"]
    found = _SELECT.search(name)
    if name in nets:
        return list(nets[name]["bits"])
    base = name[: found.start()] if found else name
    if found is None or base not in nets:
        raise CannotRun(f"'{name}': yosys has kept no net of this name")
    net = nets[base]
    ends = sorted(_position(net, int(n)) for n in found.groups() if n is not None)
    return list(net["bits"][ends[0] : ends[-1] + 1])


def _position(net: dict[str, Any], index: int) -> int:
    """Return the place of an index of a net, counted from its lowest bit."""
    at = index - int(net.get("offset", 0))
    return len(net["bits"]) - 1 - at if net.get("upto") else at


def machine(module: Module, clock: str, side: str = "core") -> SmtMachine:
    """Return a netlist as bit vectors; `clock` is the input whose rising edge moves it.

    Raises CannotRun, with the source's line, for what is no synchronous logic on that clock.
    """
    made = SmtMachine(module, clock, side)
    for name, port in module["ports"].items():
        if port["direction"] == "input":
            made.ports[name] = z3.BitVec(f"port.{name}", len(port["bits"]))
            made.drive(port["bits"], made.ports[name])
    flops = {n: c for n, c in module["cells"].items() if c["type"] in REGISTERS}
    for number, cell in enumerate(flops.values()):
        _add_register(made, cell, number)
    for cell in _in_order(module, flops):
        _add_gate(made, cell)
    for number, cell in enumerate(flops.values()):
        name = _register_name(made, cell, number)
        held, _ = made.registers[name]
        following = made.vector(cell["connections"]["D"])
        if cell["type"] == "$adff":
            clears, value = _clears(made, cell)
            made.clears[name] = (clears, value)
            following = z3.If(clears == 1, value, following)
        made.registers[name] = (held, following)
    return made


def _clears(made: SmtMachine, cell: dict[str, Any]) -> tuple[z3.BitVecRef, z3.BitVecRef]:
    """Return when an asynchronous reset clears a register, as one bit, and what it then holds."""
    pin = made.vector(cell["connections"]["ARST"])
    if not int(cell["parameters"].get("ARST_POLARITY", "1"), 2):
        pin = ~pin
    bits = len(cell["connections"]["Q"])
    return pin, z3.BitVecVal(int(cell["parameters"]["ARST_VALUE"], 2), bits)


def _add_register(made: SmtMachine, cell: dict[str, Any], number: int) -> None:
    """Add a register with what it begins with; what it holds next is not known yet."""
    module, clock = made.module, made.module["ports"][made.clock]["bits"]
    rising = int(cell["parameters"].get("CLK_POLARITY", "1"), 2)
    if cell["type"] == "$ff" or cell["connections"]["CLK"] != clock or not rising:
        raise CannotRun(
            f"{_place(cell)}a register here is not clocked by the rising edge of '{made.clock}';"
            " proofs take cores with one clock and one edge"
        )
    name = _register_name(made, cell, number)
    bits = cell["connections"]["Q"]
    held = z3.BitVec(name, len(bits))
    made.registers[name] = (held, held)
    made.drive(bits, held)
    init = _begins(module, bits)
    if init is not None:
        made.starts[name] = z3.BitVecVal(init, len(bits))


def _register_name(made: SmtMachine, cell: dict[str, Any], number: int) -> str:
    """Return the source's name of a register, or a number where it has none of its own."""
    bits = cell["connections"]["Q"]
    names = [n for n, net in made.module["netnames"].items() if net["bits"] == bits]
    plain = [n for n in names if not made.module["netnames"][n].get("hide_name")]
    known = min(plain or names or [f"register{number}"], key=lambda n: (n.count("."), n))
    return f"{made.side}.{known}".translate(_ODD)


def _begins(module: Module, bits: list[Bit]) -> int | None:
    """Return what the source says a register begins with, if it says so of each bit."""
    value: dict[Bit, str] = {}
    for net in module["netnames"].values():
        init = net.get("attributes", {}).get("init")
        if init is not None:
            value.update(zip(net["bits"], reversed(init), strict=False))
    text = "".join(value.get(bit, "x") for bit in reversed(bits))
    return int(text, 2) if set(text) <= {"0", "1"} else None


def _in_order(module: Module, flops: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Yield every cell but the registers, each behind those that drive it."""
    cells = {name: cell for name, cell in module["cells"].items() if name not in flops}
    driver: dict[Bit, str] = {}
    for name, cell in cells.items():
        for port, bits in cell["connections"].items():
            if cell["port_directions"][port] == "output":
                driver.update(dict.fromkeys(bits, name))
    order: TopologicalSorter[str] = TopologicalSorter()
    for name, cell in cells.items():
        inputs = (
            b for p, b in cell["connections"].items() if cell["port_directions"][p] == "input"
        )
        order.add(name, *{driver[bit] for bits in inputs for bit in bits if bit in driver})
    try:
        for name in order.static_order():
            yield cells[name]
    except CycleError as error:
        place = _place(cells[error.args[1][0]])
        raise CannotRun(f"{place}combinational logic goes round in a loop here") from None


def _place(cell: dict[str, Any]) -> str:
    """Return where in the source a cell comes from, as the start of a message."""
    src = cell.get("attributes", {}).get("src", "")
    return f"{src}: " if src else ""


def _add_gate(made: SmtMachine, cell: dict[str, Any]) -> None:
    """Add the output of a cell."""
    kind = cell["type"]
    make = GATES.get(kind)
    if make is None:
        raise CannotRun(f"{_place(cell)}a cell of kind {kind} cannot be proved about")
    ports = {p: made.vector(bits) for p, bits in cell["connections"].items() if p != "Y"}
    out = cell["connections"]["Y"]
    made.drive(out, make(Gate(ports, cell["parameters"], len(out))))
