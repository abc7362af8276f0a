"""The harness: SystemVerilog generated from a binding, around the unchanged core."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any

from jinja2 import Environment, StrictUndefined

from refmodel.drive.cable import BACK
from refmodel.ground.bus import DRIVE_LINES, DRIVE_STATUS, HIGH, LOW, BusShape
from refmodel.ground.word import WORD
from refmodel.world.memory import MEMORY_WORDS
from testbenches.binding.depth import depth_of
from testbenches.binding.ports import CorePorts
from testbenches.binding.roles import Signal
from testbenches.binding.schema import Binding
from testbenches.hdl.elaborate import verilog_literal

HELD = (
    "reset",
    "flux",
    "dma_active",
    "writing",
    "wait_for_sync",
    "master_enable",
    "channel_enable",
    *BACK,
)
MOVING = ("bit", "address", "write_data")
BUS = ("read", "write", "counts", "address", "write_data")


@dataclass(frozen=True)
class Drive:
    """The word that holds every driven input of one cycle: named slots of bits.

    `reset` and the level inputs are held from event to event, the others last one cycle.
    """

    slots: Mapping[str, tuple[int, int]]  # name: (lowest bit, width)

    @classmethod
    def of(cls, widths: Mapping[str, int]) -> Drive:
        """Place slots of these widths one after the other."""
        slots, at = {}, 0
        for name, width in widths.items():
            slots[name] = (at, width)
            at += width
        return cls(slots)

    @property
    def width(self) -> int:
        """Number of bits in the word."""
        return sum(width for _, width in self.slots.values())

    @property
    def held(self) -> int:
        """The bits that keep their value from event to event."""
        strobes = ("read", "write") if "counts" in self.slots else ()
        return sum(self.mask(name) for name in (*HELD, *MOVING, *strobes))

    @property
    def moving(self) -> int:
        """The bits of what a core must not look at but at a strobe: they move without one."""
        return sum(self.mask(name) for name in MOVING)

    @property
    def flipped(self) -> int:
        """The bits that are inverted behind an event: those moving, but for a bus that is held."""
        return self.mask("bit") if "counts" in self.slots else self.moving

    @property
    def bus(self) -> int:
        """The bits of the bus."""
        return sum(self.mask(name) for name in BUS)

    def lsb(self, name: str) -> int:
        """Lowest bit of a slot."""
        return self.slots[name][0]

    def mask(self, name: str) -> int:
        """Bits of a slot, none for a slot that is not there."""
        lsb, width = self.slots.get(name, (0, 0))
        return ((1 << width) - 1) << lsb

    def verilog(self, name: str) -> str:
        """Return the slot as a Verilog expression."""
        lsb, width = self.slots[name]
        return f"drive[{lsb}]" if width == 1 else f"drive[{lsb + width - 1}:{lsb}]"


@dataclass(frozen=True)
class Harness:
    """The generated source, and what the bench must know to play and record through it."""

    binding: Binding
    drive: Drive
    shape: BusShape
    source: str
    addresses: Mapping[tuple[str, int], int]  # (register, mask of the bits): bus address
    other_address: int  # where a read has no effect
    name: str = ""  # of its module, which no core can know

    @property
    def status_addresses(self) -> list[int]:
        """Where status is read."""
        return [place for (name, _), place in self.addresses.items() if name == "status"]


def generate(binding: Binding, ports: CorePorts) -> Harness:
    """Generate the harness for a binding whose ports have been checked."""
    drive = drive_of(binding, ports)
    name = _own_name(ports)
    source = render("harness.sv.j2", wiring(binding, ports, drive) | {"own": name})
    return Harness(binding, drive, binding.bus_shape, source, *_addresses(binding, ports), name)


def _own_name(ports: CorePorts) -> str:
    """Return a name drawn from the text of the core, so that the core cannot contain it."""
    digest = hashlib.sha256()
    for path in dict.fromkeys((*ports.sources, *ports.files)):
        digest.update(path.read_bytes())
    return f"bench_{digest.hexdigest()[:16]}"


def render(template: str, values: Mapping[str, object]) -> str:
    """Return a template of this package with its values filled in."""
    text = (resources.files("testbenches") / template).read_text()
    environment = Environment(undefined=StrictUndefined, keep_trailing_newline=True)
    return environment.from_string(text).render(values)


def wiring(binding: Binding, ports: CorePorts, drive: Drive) -> dict[str, Any]:
    """Return what a bench around the core must write in Verilog: each port's expression, and more.

    The expressions use `drive`, `clk`, `enable`, `read_data` and `memory_word` of the bench, and
    `dut`, the core's instance.
    """
    connections = _connections(binding, drive)
    connections |= {port: f"{ports.width(port)}'d{value}" for port, value in binding.tie.items()}
    taken = {*connections, binding.bus.read_data if binding.bus else None}
    outputs = {port: width for port, width in ports.outputs.items() if port not in taken}
    wires = {port: f"of_core_{port}" for port in outputs}
    connections |= wires
    if binding.bus is not None and binding.bus.read_data is not None:
        connections[binding.bus.read_data] = "read_data"
    watched = binding.all_observed
    bus = None
    if binding.bus is not None:
        read_data = binding.bus.read_data
        read_width = ports.width(read_data) if read_data else 1
        own = binding.bus
        bus = {
            "read_width": read_width,
            "latency": own.answer - own.counted[0],  # from the edge it would count at without any
            "returned": own.read_latency,
            "hold": own.hold,
            "step": own.hold + own.idle,
            "acts": own.counted[0],
            "over": max(own.hold - 1, own.answer),
        }
    return {
        "top": binding.core.top,
        "parameters": {name: verilog_literal(v) for name, v in ports.parameters.items()},
        "drive": drive,
        "bus": bus,
        "memory": _memory(binding, outputs),
        "lagging": f" - {bus['returned']}" if bus and bus["returned"] else "",
        "enable": binding.clock.enable,
        "enable_every": binding.clock.enable_every,
        "connections": connections,
        "outputs": outputs,
        "wires": {port: f"{ports.declared(port)}{wire}" for port, wire in wires.items()},
        "straight": sorted(depth_of(binding).straight),
        "observed": [_inverted(_seen(w.expression, outputs), w.active) for w in watched],
        "observed_width": max(1, sum(w.width for w in watched)),
    }


def drive_of(binding: Binding, ports: CorePorts) -> Drive:
    """Lay out the drive word: what is held first, then what lasts one cycle."""
    disk = ("flux",) if binding.disk.flux is not None else ("bit_strobe", "bit")
    widths = {"reset": 1, **dict.fromkeys(binding.level_inputs, 1), **dict.fromkeys(disk, 1)}
    if binding.drive is not None:
        widths |= {driven.key[-1]: 1 for driven in binding.drive.driven()}
    if binding.memory is not None:
        widths["slot"] = 1
    if binding.bus is not None:
        widths |= {"read": 1, "write": 1}
        if binding.bus.hold > 1:
            widths["counts"] = 1  # the cycle of a held read that counts
        widths |= {"address": ports.width(binding.bus.address)}
        if binding.bus.write_data is not None:
            widths["write_data"] = ports.width(binding.bus.write_data)
    return Drive.of(widths)


def _connections(binding: Binding, drive: Drive) -> dict[str, str]:
    """Return the expression that drives each input port of the core."""
    found = {binding.clock.port: "clk"}
    if binding.clock.enable is not None:
        found[binding.clock.enable] = _inverted("enable", binding.clock.enable_active)
    found[binding.reset.port] = _inverted(drive.verilog("reset"), binding.reset.active)
    for name, signal in binding.level_inputs.items():
        straight = signal.path == "straight"
        expression = f"straight_{name}" if straight else drive.verilog(name)
        found[signal.port] = _signal(expression, signal)
    slots = {"strobe": "bit_strobe", "value": "bit", "flux": "flux"}
    for driven in binding.disk.driven():
        found[driven.port] = _inverted(drive.verilog(slots[driven.key[-1]]), driven.active)
    if binding.bus is not None:
        found |= _bus_connections(binding, drive)
    if binding.drive is not None:
        for driven in binding.drive.driven():
            found[driven.port] = _inverted(drive.verilog(driven.key[-1]), driven.active)
    if binding.memory is not None:
        found[binding.memory.slot.port] = _signal(drive.verilog("slot"), binding.memory.slot)
        found[binding.memory.data_in] = "memory_word"
    return found


def _bus_connections(binding: Binding, drive: Drive) -> dict[str, str]:
    """Return the expressions that drive the bus ports."""
    bus = binding.bus
    assert bus is not None
    read, write = drive.verilog("read"), drive.verilog("write")
    found = {bus.address: drive.verilog("address")}
    if bus.read is not None:
        found[bus.read.port] = _signal(read, bus.read)
    if bus.select is not None:
        found[bus.select.port] = _signal(f"({read} | {write})", bus.select)
    if bus.write is not None:
        found[bus.write.port] = _signal(write, bus.write)
    if bus.write_data is not None:
        found[bus.write_data] = drive.verilog("write_data")
    return found


def _memory(binding: Binding, outputs: Mapping[str, int]) -> dict[str, object] | None:
    """Return what of the core says whether, which way and what a slot moves."""
    if binding.memory is None:
        return None
    seen = {
        w.lane: _inverted(_seen(w.expression, outputs), w.active) for w in binding.memory.watched()
    }
    return {**seen, "words": MEMORY_WORDS}


def _signal(expression: str, signal: Signal) -> str:
    return _inverted(expression, signal.active)


def _inverted(expression: str, active: str) -> str:
    """Return the expression, inverted for an active-low signal."""
    return f"~{expression}" if active == "low" else expression


def _seen(expression: str, outputs: Mapping[str, int]) -> str:
    """Return an observed name as seen from the harness: an output's wire, or below `dut`."""
    return f"of_core_{expression}" if expression.split("[")[0] in outputs else f"dut.{expression}"


def _addresses(binding: Binding, ports: CorePorts) -> tuple[dict[tuple[str, int], int], int]:
    """Return the bus address of each part of each register, and one where a read does nothing."""
    found: dict[tuple[str, int], int] = {}
    for name, where in binding.registers.items():
        if where.word is not None:
            found[name, HIGH | LOW] = where.word
        else:
            found[name, HIGH], found[name, LOW] = where.high or 0, where.low or 0
    if binding.drive is not None:
        found[DRIVE_LINES, WORD] = binding.drive.registers.lines
        found[DRIVE_STATUS, WORD] = binding.drive.registers.status
    if binding.bus is None:
        return found, 0
    status = {address for (name, _), address in found.items() if name == "status"}
    others = [address for (name, _), address in found.items() if name != "status"]
    free = (a for a in range(1 << ports.width(binding.bus.address)) if a not in status)
    return found, others[0] if others else next(free, 0)
