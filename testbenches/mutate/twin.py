"""Verilog of a core beside its own mutant: what a solver is asked about."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from testbenches.binding.ports import CorePorts
from testbenches.binding.schema import Binding
from testbenches.hdl.mutants import CHOICE

TWIN = "cellstep_twin"
OWN = "cellstep_"  # begins the names of the twin's own
SIDES = f"{OWN}core", f"{OWN}changed"
CHOSEN, RESETTING = f"{OWN}chosen", f"{OWN}resetting"
MOST_RESET = 8  # cycles


@dataclass(frozen=True)
class Twin:
    """A core and its mutant on the same inputs, the mutant by its number at CHOSEN.

    Its first output goes up when any output of the two differs, the second when what a run looks at
    does.

    Both begin alike, in any state the core itself can reach; then the mutant is chosen, and both
    are reset. All inputs may do anything, but for strobes of both a read and a write at once.
    """

    binding: Binding
    ports: CorePorts
    width: int

    def verilog(self) -> str:
        """Return the text, for all mutants; its own names are none that a core has."""
        inputs = list(self._inputs())
        names = "".join(f",\n  input {name} \\{port} " for port, name in inputs)
        hidden = [w for side in SIDES for w in self._hidden(side)]
        over = f"{OWN}going && {OWN}age == {self._reset_cycles}"
        chosen = f"{OWN}on ? {CHOSEN} : {self.width}'d0"
        return "\n".join(
            (
                f"module {TWIN}(input {OWN}begins, input [{self.width - 1}:0] {CHOSEN}{names},",
                f"  output {OWN}differ, output {OWN}differ_compared);",
                f"  reg {OWN}going = 0;\n  reg [3:0] {OWN}age = 0;",
                f"  wire {OWN}on = {OWN}going | {OWN}begins;",
                f"  wire {RESETTING} = {OWN}on && {OWN}age < {self._reset_cycles};",
                f"  always @(posedge \\{self.binding.clock.port} ) begin",
                f"    {OWN}going <= {OWN}on;",
                f"    if ({RESETTING}) {OWN}age <= {OWN}age + 1;\n  end",
                *hidden,
                self._core(SIDES[0], f"{self.width}'d0"),
                self._core(SIDES[1], chosen),
                f"  assign {OWN}differ = {over} && ({_any(self._all())});",
                f"  assign {OWN}differ_compared = {over} && ({_any(self._compared())});",
                "endmodule\n",
            )
        )

    @property
    def _reset_cycles(self) -> int:
        reset = self.binding.reset
        return min(reset.cycles, MOST_RESET) if reset.port else 0

    def _inputs(self) -> Iterator[tuple[str, str]]:
        """Yield each input that is free, and its range."""
        for port in self.ports.ports.values():
            if port.direction == "input" and port.name not in self.binding.tie:
                yield port.name, f"[{(port.width or 1) - 1}:0]"

    def _core(self, side: str, choice: str) -> str:
        """Return an instance of the core, and a wire for each of its outputs."""
        wires, connected = [], []
        for name, port in self.ports.ports.items():
            if port.direction == "output":
                wires.append(f"  wire [{(port.width or 1) - 1}:0] \\{side}.{name} ;")
                connected.append(f".\\{name} (\\{side}.{name} )")
            else:
                connected.append(f".\\{name} ({self._driven(name)})")
        connected.append(f".{CHOICE}({choice})")
        joined = ",\n    ".join(connected)
        return "\n".join((*wires, f"  \\{self.ports.top} {side} (\n    {joined});"))

    def _driven(self, name: str) -> str:
        """Return what drives an input."""
        binding, bus = self.binding, self.binding.bus
        if name in binding.tie:
            return f"{self.ports.width(name)}'d{binding.tie[name]}"
        if name == binding.reset.port:
            low = binding.reset.active == "low"
            return f"\\{name} & ~{RESETTING}" if low else f"\\{name} | {RESETTING}"
        if name == binding.clock.enable:
            low = binding.clock.enable_active == "low"
            return f"\\{name} & ~{RESETTING}" if low else f"\\{name} | {RESETTING}"
        if bus is not None and bus.read and bus.write and name == bus.write.port:
            reading = _active(f"\\{bus.read.port} ", bus.read.active)
            low = bus.write.active == "low"
            return f"\\{name} | {reading}" if low else f"\\{name} & ~{reading}"
        return f"\\{name} "

    def _all(self) -> list[str]:
        """Return where any output of the two differs, or anything else a run looks at."""
        outputs = [p.name for p in self.ports.ports.values() if p.direction == "output"]
        return [_differs(name) for name in dict.fromkeys((*outputs, *self._names()))]

    def _compared(self) -> list[str]:
        """Return where what a run looks at differs: status, lines, moved words, reads of status."""
        found = [_differs(w.expression) for w in self.binding.all_observed]
        memory = self.binding.memory
        if memory is not None and memory.slot is not None:
            slot = _active(f"\\{memory.slot.port} ", memory.slot.active)
            moving = _active(_at(SIDES[0], memory.request.signal), memory.request.active)
            storing = f"1'b{memory.stores}"
            found.append(f"{slot} && {_differs(memory.request.signal)}")
            if memory.store is not None:
                storing = _active(_at(SIDES[0], memory.store.signal), memory.store.active)
                found.append(f"{slot} && {moving} && {_differs(memory.store.signal)}")
            if memory.data_out is not None:
                found.append(f"{slot} && {moving} && {storing} && {_differs(memory.data_out)}")
        bus = self.binding.bus
        if bus is not None:
            found += [_differs(w.expression) for w in bus.watched()]
        if bus is not None and bus.read_data is not None:
            found.append(f"{self._reading()}{_differs(bus.read_data)}")
        return found

    def _reading(self) -> str:
        """Return when what a read returns is looked at, empty if that is at any time."""
        bus = self.binding.bus
        assert bus is not None, "only a bus is read"
        if bus.read is None or bus.answer or bus.hold > 1 or bus.acknowledge or bus.decoded:
            return ""
        reading = _active(f"\\{bus.read.port} ", bus.read.active)
        status = self.binding.registers.get("status")
        places = [] if status is None else [status.word, status.high, status.low]
        here = " || ".join(f"\\{bus.address} == {at}" for at in places if at is not None)
        return f"{reading} && ({here or 0}) && "

    def _names(self) -> list[str]:
        """Return what a run looks at, as the binding names it."""
        found = [w.expression for w in self.binding.all_observed]
        if self.binding.memory is not None:
            found += [w.expression for w in self.binding.memory.watched()]
        return found

    def _hidden(self, side: str) -> Iterator[str]:
        """Yield a wire for what is looked at inside the core: it is joined to that of its name."""
        width: Mapping[str, int] = {w.expression: w.width for w in self.binding.all_observed}
        for name in self._names():
            if name.split("[")[0] not in self.ports.ports:
                yield f"  (* hierconn *) wire [{width.get(name, 1) - 1}:0] \\{side}.{name} ;"


def _any(conditions: Sequence[str]) -> str:
    return " ||\n    ".join(conditions)


def _at(side: str, name: str) -> str:
    """Return a name of the core as the twin writes it."""
    base, found, select = name.partition("[")
    return f"\\{side}.{base} {found}{select}"


def _differs(name: str) -> str:
    return f"{_at(SIDES[0], name)} != {_at(SIDES[1], name)}"


def _active(expression: str, active: str) -> str:
    return f"~({expression})" if active == "low" else f"({expression})"


def reading_core(files: Sequence[str], top: str) -> list[str]:
    """Return the commands of yosys that read a core with its mutants and make it flat gates."""
    return [
        f"read_verilog {' '.join(files)}",
        f"hierarchy -check -top {top}",
        "proc",
        "flatten",
        "memory_map",
        "opt_expr",
        "opt_clean",
        "write_rtlil core.il",
        "async2sync",
        "dffunmap",
        "write_json core.json",
    ]


def asking(one_clock: bool) -> list[str]:
    """Return the commands that turn the twin into gates for the solver."""
    clocks = ["async2sync", "dffunmap"] if one_clock else ["clk2fflogic"]
    return [
        "design -reset",
        "read_rtlil core.il",
        "read_verilog twin.v",
        f"hierarchy -check -top {TWIN}",
        "proc",
        "flatten",
        "opt_expr",
        "opt_clean",
        *clocks,
        "setundef -undriven -zero",
        "setundef -init -zero",
        "techmap",
        "opt_expr",
        "opt_clean",
        "dffunmap",
        "aigmap",
        "opt_clean",
        "write_aiger -zinit -symbols twin.aig",
    ]
