"""The harness: SystemVerilog generated from a binding, around the unchanged core."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.ground.bus import (
    DRIVE_LINES,
    DRIVE_STATUS,
    HIGH,
    LOW,
    WRITE_CONTROL,
    WRITE_DRIVE,
    WRITE_TRANSFER,
    BusShape,
)
from refmodel.ground.word import WORD
from refmodel.world.memory import MEMORY_WORDS
from testbenches.binding.bus import STATUS
from testbenches.binding.depth import depth_of
from testbenches.binding.ports import CorePorts
from testbenches.binding.roles import GATES, Watched
from testbenches.binding.schema import PADDING, Binding
from testbenches.bus_wires import bus_connections, bus_values
from testbenches.drive_word import DriveWord
from testbenches.event_file import word_bytes
from testbenches.expressions import held_back, inverted, seen, shown, signal_of
from testbenches.hdl.elaborate import verilog_literal
from testbenches.recorder import record_words

BEYOND = 200  # cycles a mutant is played on behind the first change of its own


@dataclass(frozen=True)
class Harness:
    """The generated source, and what the bench must know to play and record through it."""

    binding: Binding
    drive: DriveWord
    shape: BusShape
    source: str
    addresses: Mapping[tuple[str, int], int]  # (register, mask of the bits): bus address
    other_address: int  # where a read has no effect
    name: str = ""  # of its module, which no core can know
    moved: Mapping[int, Callable[[int], int]] = field(default_factory=dict)  # words, by bus cycle

    @property
    def status_addresses(self) -> list[int]:
        """Where status is read."""
        return [place for (name, _), place in self.addresses.items() if name == "status"]


@dataclass(frozen=True)
class Choice:
    """An input of the core that the bench sets before a run, and its width."""

    port: str
    width: int


def generate(
    binding: Binding, ports: CorePorts, chosen: Choice | None = None, traced: bool = False
) -> Harness:
    """Generate the harness for a binding whose ports have been checked.

    `chosen` is an input beside them that says which of several changes is in force. With `traced`
    it can write every signal of the core.
    """
    drive = drive_of(binding, ports)
    name = _own_name(ports)
    values = wiring(binding, ports, drive) | {"own": name, "chosen": chosen, "beyond": BEYOND}
    values |= {"event_bytes": word_bytes(drive.width), "traced": traced}
    values["begun"] = max(1, binding.reset.cycles - 1)
    if chosen is not None:
        values["connections"] |= {chosen.port: "in_force"}
    source = render("harness.sv.j2", values)
    places = _addresses(binding, ports)
    return Harness(binding, drive, binding.bus_shape, source, *places, name, _moved(binding))


def _moved(binding: Binding) -> dict[int, Callable[[int], int]]:
    """Return what brings the bits of a written word to where the core has them, by bus cycle."""
    profile = binding.load_profile()
    found: dict[int, Callable[[int], int]] = {}
    if profile.transfer_layout:
        found[WRITE_TRANSFER] = partial(profile.on_the_bus, "transfer")
    if profile.control_layout:
        found[WRITE_CONTROL] = partial(profile.on_the_bus, "control")
    if binding.drive is not None:
        found[WRITE_DRIVE] = binding.drive.registers.written
    return found


def _own_name(ports: CorePorts) -> str:
    """Return a name drawn from the text of the core, so that the core cannot contain it."""
    digest = hashlib.sha256()
    for path in dict.fromkeys((*ports.sources, *ports.files)):
        digest.update(path.read_bytes())
    return f"bench_{digest.hexdigest()[:16]}"


def render(template: str, values: Mapping[str, object]) -> str:
    """Return a template of this package with its values filled in."""
    environment = Environment(
        loader=PackageLoader("testbenches", ""),
        undefined=StrictUndefined,
        keep_trailing_newline=True,
    )
    return environment.get_template(template).render(values)


def wiring(binding: Binding, ports: CorePorts, drive: DriveWord) -> dict[str, Any]:
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
        swapped = binding.bus.byte_order == "swapped"
        connections[binding.bus.read_data] = "read_lines" if swapped else "read_data"
    watched = binding.recorded
    bus = bus_values(binding, ports, drive, outputs)
    clock = binding.clock
    own = clock.enabled_by
    return {
        "top": binding.core.top,
        "parameters": {name: verilog_literal(v) for name, v in ports.parameters.items()},
        "drive": drive,
        "bus": bus,
        "memory": _memory(binding, outputs),
        "lagging": bus["lagging"] if bus else "",
        "counted_at": bus["counted_at"] if bus else "cycle",
        "enable": clock.enable,
        "slow": clock.slow,
        "enable_every": 1 + clock.gaps[0],
        "gaps": clock.gaps if len({*clock.gaps}) > 1 else clock.gaps[:1],
        "enabled_by": inverted(seen(own.signal, outputs), own.active) if own else "",
        "irregular": own is not None or len({*clock.gaps}) > 1,
        "late_reset": binding.reset.kind == "asynchronous",
        "connections": connections,
        "outputs": outputs,
        "wires": {port: f"{ports.declared(port)}{wire}" for port, wire in wires.items()},
        "straight": sorted(depth_of(binding).straight),
        "late_gates": _late_gates(binding),
        "observed": [_observed(w, outputs) for w in watched],
        "held_back": held_back(watched, ports.joined, outputs),
        "record_words": record_words(binding),
        "observed_width": max(1, sum(w.width for w in watched)),
        "still": _still(binding),
    }


def _observed(watched: Watched, outputs: Mapping[str, int]) -> str:
    if watched.lane == PADDING:
        return watched.expression
    return shown(watched, outputs)


def why_between_edges(binding: Binding) -> str:
    """Say why a core's status may move between two active edges; empty where it must not."""
    if depth_of(binding).straight or _late_gates(binding):
        return "a level passes straight through the core"
    if binding.bus is not None and binding.bus.idle > 0:
        return "its bus pauses, so the end of a strobe may act"
    return "it has a second clock" if binding.clock.slow else ""


def _still(binding: Binding) -> int:
    """Return which bits of what is observed must not change before an active edge.

    They are the fields that are held to the cycle. Later ones may come from the other edge.
    """
    if why_between_edges(binding):
        return 0
    on_time = not any(binding.lag(name) for name in (*FIELD_NAMES, UNUSED))
    found = 0
    for watched in binding.recorded:
        of_status = watched.lane in (STATUS, *FIELD_NAMES)
        held = of_status and (on_time or (watched.lane != STATUS and not binding.lag(watched.lane)))
        found = found << watched.width | (held and (1 << watched.width) - 1)
    return found


def drive_of(binding: Binding, ports: CorePorts) -> DriveWord:
    """Lay out the drive word: what is held first, then what lasts one cycle."""
    disk = ("flux",) if binding.disk.flux is not None else ("bit_strobe", "bit")
    widths = {"reset": 1, **dict.fromkeys(binding.level_inputs, 1), **dict.fromkeys(disk, 1)}
    if binding.drive is not None:
        widths |= {driven.key[-1]: 1 for driven in binding.drive.driven()}
    if binding.memory is not None:
        widths["slot"] = 1
    if binding.bus is not None:
        widths |= {"read": 1, "write": 1}
        if binding.bus.select is not None:
            widths["elsewhere"] = 1  # an access of another device: the core is not selected
        if binding.bus.hold > 1:
            widths["counts"] = 1  # the cycle of a held read that counts
        widths |= {"address": ports.width(binding.bus.address)}
        written_on = binding.bus.written_on
        if written_on is not None:
            widths["write_data"] = ports.width(written_on)
    return DriveWord.of(widths)


def _connections(binding: Binding, drive: DriveWord) -> dict[str, str]:
    """Return the expression that drives each input port of the core."""
    found = {binding.clock.port: "~clk" if binding.clock.edge == "falling" else "clk"}
    if binding.clock.slow is not None:
        found[binding.clock.slow] = "slow"
    if binding.clock.enable is not None:
        found[binding.clock.enable] = inverted("enable", binding.clock.enable_active)
    late = binding.reset.kind == "asynchronous"
    reset = "late_reset" if late else drive.verilog("reset")
    if binding.reset.port:
        found[binding.reset.port] = inverted(reset, binding.reset.active)
    for name, signal in binding.level_inputs.items():
        straight = signal.path == "straight"
        expression = f"straight_{name}" if straight else drive.verilog(name)
        found[signal.port] = signal_of(expression, signal)
    slots = {"strobe": "bit_strobe", "value": "bit", "flux": "flux"}
    for driven in binding.disk.driven():
        found[driven.port] = inverted(drive.verilog(slots[driven.key[-1]]), driven.active)
    if binding.bus is not None:
        found |= bus_connections(binding, binding.bus, drive)
    if binding.drive is not None:
        for driven in binding.drive.driven():
            found[driven.port] = inverted(drive.verilog(driven.key[-1]), driven.active)
    if binding.memory is not None:
        memory = binding.memory
        if memory.slot is not None:
            found[memory.slot.port] = signal_of(drive.verilog("slot"), memory.slot)
        if memory.data_in is not None:
            found[memory.data_in] = "memory_word"
    return found


def _late_gates(binding: Binding) -> list[str]:
    """Return the gates without a register: they change behind the look at what a read returns."""
    levels = binding.level_inputs
    return [name for name in GATES if name in levels and levels[name].path == "straight"]


def _memory(binding: Binding, outputs: Mapping[str, int]) -> dict[str, object] | None:
    """Return what of the core says whether, which way and what a slot moves."""
    if binding.memory is None:
        return None
    found = {
        w.lane: inverted(seen(w.expression, outputs), w.active) for w in binding.memory.watched()
    }
    fed = binding.memory.written_at is not None
    ways = {"store": f"1'b{binding.memory.stores}", "data_out": "16'd0"}
    return {**ways, **found, "words": MEMORY_WORDS, "fed": fed}


def _addresses(binding: Binding, ports: CorePorts) -> tuple[dict[tuple[str, int], int], int]:
    """Return the bus address of each part of each register, and one where a read does nothing."""
    found: dict[tuple[str, int], int] = {}
    for name, where in binding.registers.items():
        parts = {HIGH | LOW: where.word, HIGH: where.high, LOW: where.low}
        found |= {(name, mask): at for mask, at in parts.items() if at is not None}
    if binding.drive is not None:
        found[DRIVE_LINES, WORD] = binding.drive.registers.lines
        found[DRIVE_STATUS, WORD] = binding.drive.registers.status
    if binding.bus is None:
        return found, 0
    status = {address for (name, _), address in found.items() if name == "status"}
    others = [a for (name, _), a in found.items() if name != "status" and a not in status]
    free = (a for a in range(1 << ports.width(binding.bus.address)) if a not in status)
    return found, others[0] if others else next(free, 0)
