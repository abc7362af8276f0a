"""Pre-flight: every role of the binding against the core's real ports, before any simulation."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from refmodel.ground.errors import near
from testbenches.binding.roles import Driven, Watched
from testbenches.binding.schema import Binding
from testbenches.binding.source_files import Fault, failed, source_files
from testbenches.binding.wrapper import wrapper
from testbenches.hdl.elaborate import Design, NameFaultError, UnknownTopError, elaborate
from testbenches.hdl.port_forms import Port
from testbenches.hdl.unread import unread_inputs
from testbenches.hdl.vhdl import UnknownGenericError, is_vhdl, translate
from testbenches.toolchain import cache_folder

Parameters = dict[str, int | str]
AROUND = "a module around the core"


@dataclass(frozen=True)
class CorePorts:
    """The core a binding was checked against: what the harness is generated from."""

    top: str
    sources: tuple[Path, ...]
    include_dirs: tuple[Path, ...]
    ports: dict[str, Port]
    parameters: Parameters  # still to be set; a core in VHDL has had its generics set
    files: tuple[Path, ...]  # everything that was read: sources and what they include
    joined: dict[str, int]  # signals that part of a field is seen on, and their widths
    unread: tuple[str, ...] = ()  # inputs that nothing within the core reads

    def width(self, name: str) -> int:
        """Return the width of a port that has a role or is tied."""
        width = self.ports[name].width
        assert width is not None, f"preflight lets no such port through: {name}"
        return width

    @property
    def outputs(self) -> dict[str, int]:
        """Every output that is a vector, and its width."""
        found = (p for p in self.ports.values() if p.direction == "output")
        return {port.name: port.width for port in found if port.width is not None}

    def declared(self, name: str) -> str:
        """Return a port's range as it is declared, such as `[0:15]`; empty for a bit."""
        port = self.ports[name]
        left, right = port.bounds or ((port.width or 1) - 1, 0)
        return f"[{left}:{right}] " if port.bounds or self.width(name) > 1 else ""


def preflight(binding: Binding) -> CorePorts:
    """Check every role and return the core's ports.

    Raises InputError (exit 2) with every fault at its key in the binding, CannotRun (exit 125)
    with the source's file and line for code that does not compile.
    """
    sources, include_dirs = source_files(binding)
    core = binding.core
    try:
        sources, parameters = _in_verilog(binding, sources)
        design = elaborate(sources, core.top, include_dirs, core.defines, parameters)
    except UnknownTopError as error:
        raise failed(binding, [(("core", "top"), _no_module(core.top, error.known))]) from None
    except UnknownGenericError as error:
        raise failed(binding, [_no_generic(binding, error.name)]) from None
    faults = list(_faults(binding, design, parameters))
    faults += _untied(binding, design, [message for _, message in faults])
    faults = list(_with_wrapper(binding, design, faults))
    if faults:
        raise failed(binding, faults)
    joined = {
        part.expression: design.width_of(part.expression)
        for watched in binding.observed
        for part in watched.parts
    }
    return CorePorts(
        core.top,
        tuple(sources),
        tuple(include_dirs),
        design.ports,
        parameters,
        design.files,
        joined,
        unread_inputs(design.top),
    )


def _in_verilog(binding: Binding, sources: list[Path]) -> tuple[list[Path], Parameters]:
    """Return the sources with VHDL turned into Verilog, and the parameters not yet set in them."""
    core = binding.core
    vhdl = [path for path in sources if is_vhdl(path)]
    if not vhdl:
        return sources, core.parameters
    faults: list[Fault] = []
    if len(vhdl) < len(sources):
        message = "VHDL and Verilog in one core; give a core that is all of one language"
        faults.append((("core", "sources"), message))
    faults += [
        (("core", key), f"VHDL has no {key}; leave it out")
        for key in ("defines", "include_dirs")
        if getattr(core, key)
    ]
    if faults:
        raise failed(binding, faults)
    return [translate(vhdl, core.top, cache_folder() / "vhdl", core.parameters)], {}


def _no_module(top: str, known: tuple[str, ...]) -> str:
    return f"no module '{top}' in the sources{near(top, known)}"


def _no_generic(binding: Binding, lower: str) -> Fault:
    """Return the fault of a generic the top entity has not, known in lower case."""
    name = next(name for name in binding.core.parameters if name.lower() == lower)
    return ("core", "parameters", name), f"'{binding.core.top}' has no such generic"


def _faults(binding: Binding, design: Design, parameters: Parameters) -> Iterator[Fault]:
    """Yield everything in the binding that does not fit the core."""
    for name in parameters:
        if name not in design.parameters:
            message = f"'{binding.core.top}' has no such parameter{near(name, design.parameters)}"
            yield ("core", "parameters", name), message
    for driven in binding.driven_inputs:
        yield from _driven_faults(binding, design, driven)
    yield from _read_data_faults(binding, design)
    yield from _tie_faults(binding, design)
    yield from _clashes(binding)
    for watched in _all_watched(binding):
        yield from (
            _joined_faults(design, watched) if watched.parts else _watched_faults(design, watched)
        )


def _driven_faults(binding: Binding, design: Design, driven: Driven) -> Iterator[Fault]:
    """Yield what keeps the harness from driving a port: name, direction, width."""
    shared = driven.key == ("bus", "data", "port")
    message = _wrong(design, driven.port, "inout" if shared else "input")
    if message:
        message += _both_ways(design, driven.port) * (driven.key == ("bus", "write_data"))
        yield driven.key, message
        return
    width = design.ports[driven.port].width or 0
    if driven.key == ("bus", "address"):
        yield from _address_faults(binding, driven.port, width)
        yield from _drive_faults(binding, driven.port, width)
    elif driven.key == ("memory", "data_in"):
        if width != 16:
            yield driven.key, f"'{driven.port}' has {_bits(width)}; memory moves words of 16 bits"
    elif shared or driven.key == ("bus", "write_data"):
        yield from _data_fault(binding, design, driven.key, driven.port)
    elif width != 1:
        yield driven.key, f"'{driven.port}' has {_bits(width)}; this role takes 1 bit"


def _wrong(design: Design, name: str, direction: str) -> str:
    """Say why `name` is not a port of that direction that can be connected; empty if it is one."""
    port = design.ports.get(name)
    article = "an" if direction[0] in "aeiou" else "a"
    whole, dot, _ = name.partition(".")
    if port is None and dot and whole in design.ports:
        return (
            f"'{name}' is a part of the port '{whole}', and the harness drives whole ports; it"
            f" takes {AROUND}"
        )
    if port is None:
        fitting = [p.name for p in design.ports.values() if p.direction == direction]
        return f"the core has no port '{name}'{near(name, fitting)}"
    if port.direction != direction:
        return f"'{name}' is an {port.direction}; this role needs {article} {direction}"
    if port.width is None:
        return f"'{name}' is not a plain vector; wrap the core in a module with plain ports"
    return ""


def _part_of(port: str, said: Sequence[str]) -> bool:
    """Return whether one of the faults is about a part of a port."""
    return any(f"is a part of the port '{port}'," in message for message in said)


def _both_ways(design: Design, name: str) -> str:
    """Say how a data port of both directions is bound; empty for any other."""
    if name not in design.ports or design.ports[name].direction != "inout":
        return ""
    return f"; a data port of both directions is bus.data: {{port: {name}, drives: SIGNAL}}"


def _address_faults(binding: Binding, port: str, width: int) -> Iterator[Fault]:
    """Yield the registers whose address the port cannot carry, and where words are written."""
    memory, bus = binding.memory, binding.bus
    if bus is not None and (bus.decoded or 0) >> width:
        message = f"{bus.decoded:#x} has more lines than the {_bits(width)} of '{port}'"
        yield ("bus", "decoded"), message
    if memory is not None and (memory.written_at or 0) >> width:
        message = f"address {memory.written_at:#x} does not fit the {_bits(width)} of '{port}'"
        yield ("memory", "written_at"), message
    for register in binding.registers:
        for bus_cycle in binding.bus_cycles(register):
            if bus_cycle.address >> width:
                key = ("bus", "registers", register, bus_cycle.half)
                message = (
                    f"address {bus_cycle.address:#x} does not fit the {_bits(width)} of '{port}'"
                )
                yield key if key in binding.document.marks else key[:-1], message


def _drive_faults(binding: Binding, port: str, width: int) -> Iterator[Fault]:
    """Yield the registers of a drive's lines whose address the port cannot carry."""
    registers = binding.drive.registers if binding.drive is not None else None
    for name in ("lines", "status"):
        address = getattr(registers, name, 0)
        if address >> width:
            message = f"address {address:#x} does not fit the {_bits(width)} of '{port}'"
            yield ("drive", "registers", name), message


def _data_fault(
    binding: Binding, design: Design, key: tuple[str, ...], port: str
) -> Iterator[Fault]:
    """Yield a data port whose width is not that of the registers."""
    wanted, width = 8 if binding.byte_wide else 16, design.ports[port].width or 0
    if width == wanted:
        return
    message = f"'{port}' has {_bits(width)}; the registers are reached {wanted} bits at a time"
    if width == 8:
        message += ", so give each as {high: ..., low: ...}"
    elif width == 16:
        message += ", so give each as one address"
    elif width > wanted:
        message += f", so it takes {AROUND}"
    yield key, message


def _with_wrapper(binding: Binding, design: Design, faults: list[Fault]) -> Iterator[Fault]:
    """Yield the faults, the last of those that a module around the core mends with its text."""
    mended = [key for key, message in faults if message.endswith(AROUND)]
    mends = [message for _, message in faults if message.endswith(AROUND)]
    bus, wanted = binding.bus, 8 if binding.byte_wide else 16
    named = {bus.read_data, bus.write_data} if bus is not None else set()
    found = [port for port in design.ports.values() if port.name in named]
    cut = {port.name: wanted for port in found if (port.width or 0) > wanted}
    split = {
        port.name for port in design.ports.values() if port.parts and _part_of(port.name, mends)
    }
    for key, message in faults:
        last = bool(mended) and key == mended[-1]
        yield key, f"{message}:{wrapper(design, cut, split)}" if last else message


def _read_data_faults(binding: Binding, design: Design) -> Iterator[Fault]:
    if binding.bus is None or binding.bus.read_data is None:
        return
    key, port = ("bus", "read_data"), binding.bus.read_data
    message = _wrong(design, port, "output")
    if message:
        yield key, message + _both_ways(design, port)
    else:
        yield from _data_fault(binding, design, key, port)


def _tie_faults(binding: Binding, design: Design) -> Iterator[Fault]:
    for name, value in binding.tie.items():
        message = _wrong(design, name, "input")
        width = 0 if message else design.ports[name].width or 0
        if not message and value >> width:
            message = f"{value} does not fit '{name}', which has {_bits(width)}"
        if message:
            yield ("tie", name), message


def _clashes(binding: Binding) -> Iterator[Fault]:
    """Yield each second role of one port."""
    driven = [(driven.key, driven.port) for driven in binding.driven_inputs]
    tied = [(("tie", name), name) for name in binding.tie]
    read: list[tuple[tuple[str, ...], str]] = []
    if binding.bus is not None and binding.bus.read_data is not None:
        read = [(("bus", "read_data"), binding.bus.read_data)]
    watched = [
        (part.key, part.expression)
        for whole in _all_watched(binding)
        for part in whole.signals
        if not part.delay and not whole.by
    ]
    yield from _second_roles([*driven, *tied])
    yield from _second_roles([*read, *watched])


def _second_roles(roles: Sequence[tuple[tuple[str | int, ...], str]]) -> Iterator[Fault]:
    first: dict[str, str] = {}
    for key, port in roles:
        if port in first:
            yield key, f"'{port}' already has the role {first[port]}"
        first.setdefault(port, ".".join(map(str, key)))


def _untied(binding: Binding, design: Design, said: Sequence[str]) -> Iterator[Fault]:
    """Yield one fault that names every input without a role, with the line to paste.

    An input that one of the faults `said` so far proposes for a misspelt name is not among them.
    """
    taken = {driven.port for driven in binding.driven_inputs} | set(binding.tie)
    left = [p for p in design.ports.values() if p.direction != "output" and p.name not in taken]
    for port in left:
        if port.width is None:
            message = f"its port '{port.name}' is not a plain vector; it takes {AROUND}"
            yield ("core", "top"), message
    meant = "".join(text.partition("; did you mean ")[2] for text in said if "no port '" in text)
    missing = [
        p.name
        for p in left
        if p.direction == "input" and p.width is not None and f"'{p.name}'" not in meant
    ]
    missing = [name for name in missing if not _part_of(name, said)]
    if missing:
        values = {**binding.tie, **dict.fromkeys(missing, 0)}
        line = ", ".join(f"{name}: {value}" for name, value in values.items())
        named = ", ".join(f"'{name}'" for name in missing)
        yield ("tie",), f"no role drives {named}; give each one, or tie it:  tie: {{{line}}}"


def _all_watched(binding: Binding) -> list[Watched]:
    """Return everything of the core the harness looks at, besides what a read returns."""
    memory = binding.memory.watched() if binding.memory is not None else ()
    bus = binding.bus.watched() if binding.bus is not None else ()
    own = binding.clock.enabled_by
    key = ("clock", "enabled_by")
    clock = [Watched("enable", own.signal, 1, own.active, key)] if own is not None else []
    return [*binding.all_observed, *memory, *bus, *clock]


def _joined_faults(design: Design, watched: Watched) -> Iterator[Fault]:
    """Yield what keeps signals from being observed as one lane together."""
    faults = [fault for part in watched.parts for fault in _watched_faults(design, part)]
    yield from faults
    if faults or watched.by:
        return
    widths = [design.width_of(part.expression) for part in watched.parts]
    if sum(widths) != watched.width:
        total = " + ".join(map(str, widths))
        message = f"the signals have {total} bits; {watched.lane} has {_bits(watched.width)}"
        yield (*watched.key, "joined"), message


def _watched_faults(design: Design, watched: Watched) -> Iterator[Fault]:
    """Yield what keeps a name from being observed as its lane; any width will do for 0."""
    name = watched.expression
    port = design.ports.get(name)
    if port is not None and port.direction == "input":
        yield watched.key, f"'{name}' is an input, driven by the harness; observe the core's own"
        return
    try:
        width = design.width_of(name)
    except NameFaultError as error:
        yield watched.key, f"'{name}': {error}"
        return
    if watched.width not in (0, width):
        message = f"'{name}' has {_bits(width)}; {watched.lane} has {_bits(watched.width)}"
        yield watched.key, message


def _bits(width: int) -> str:
    return "1 bit" if width == 1 else f"{width} bits"
