"""The binding of a core's two-wire controller: clock, reset, wires, and what it puts on the bus."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

from pydantic import Field as Key

from refmodel.drive.link_settings import Speed
from refmodel.ground.errors import InputError, near
from refmodel.ground.yamlfile import Document, Schema, load
from testbenches.binding.roles import Active, Pin
from testbenches.binding.schema import Core
from testbenches.binding.source_files import Fault, matching_files
from testbenches.hdl.elaborate import Design, UnknownTopError, elaborate


class WireClock(Schema):
    """The clock: its port and how fast it is."""

    port: str
    """The clock's port."""
    hz: int = Key(gt=0, le=1_000_000_000)
    """Its frequency in Hz."""


class WireReset(Schema):
    """The reset: its port, its active level, how many cycles it lasts."""

    port: str
    """The reset's port."""
    active: Active = "high"
    """The level that resets."""
    cycles: int = Key(4, ge=1, le=1000)
    """Cycles for which it is held at the start."""


class OpenDrain(Schema):
    """A wire: the output that pulls it low, and the input that senses it."""

    pulls: Pin
    """The output that pulls the wire low."""
    senses: Pin
    """The input that sees it."""


class WireBinding(Schema):
    """One file: a core that drives a port expander of two banks over two wires."""

    core: Core
    """The user's Verilog."""
    clock: WireClock
    """The clock."""
    reset: WireReset
    """The reset."""
    scl: OpenDrain
    """The clock wire."""
    sda: OpenDrain
    """The data wire."""
    speed: Speed = 400_000
    """The speed of the wires in Hz: 100000, 400000 or 1000000."""
    address: int = Key(0x20, ge=0x08, le=0x77)
    """The address of the port expander."""
    outputs: str
    """The input of the core with the 16 pins to be set, bank 0 in the low byte."""
    inputs: str | None = None
    """The output of the core that shows what the pins were when read last."""
    tie: dict[str, int] = Key({})
    """A constant for each input without a role."""

    @property
    def cycle_ns(self) -> Fraction:
        """Length of a cycle in nanoseconds."""
        return Fraction(1_000_000_000, self.clock.hz)

    def driven(self) -> list[tuple[tuple[str, ...], str]]:
        """Return every input the bench drives, with its key."""
        return [
            (("clock", "port"), self.clock.port),
            (("reset", "port"), self.reset.port),
            (("scl", "senses"), self.scl.senses.port),
            (("sda", "senses"), self.sda.senses.port),
            (("outputs",), self.outputs),
            *((("tie", name), name) for name in self.tie),
        ]

    def watched(self) -> list[tuple[tuple[str, ...], str]]:
        """Return every output the bench looks at, with its key."""
        found = [(("scl", "pulls"), self.scl.pulls.port), (("sda", "pulls"), self.sda.pulls.port)]
        return found + ([(("inputs",), self.inputs)] if self.inputs else [])


def load_wire_binding(path: Path) -> tuple[WireBinding, Design, list[Path]]:
    """Load a wire's binding and the core it names; return both, and the core's sources.

    Raises InputError with every fault at its key, CannotRun for a core that does not compile.
    """
    document = load(path)
    binding = document.validate(WireBinding)
    sources = _sources(document, binding)
    core = binding.core
    folders = include_folders(binding, path.parent)
    try:
        design = elaborate(sources, core.top, folders, core.defines, core.parameters)
    except UnknownTopError as error:
        message = f"no module '{core.top}' in the sources{near(core.top, error.known)}"
        raise InputError([document.problem(("core", "top"), message)]) from None
    faults = [document.problem(key, message) for key, message in _faults(binding, design)]
    if faults:
        raise InputError(faults)
    return binding, design, sources


def include_folders(binding: WireBinding, folder: Path) -> list[Path]:
    """Return the core's include folders, given the folder of its binding."""
    return [(folder / name).absolute() for name in binding.core.include_dirs]


def _sources(document: Document, binding: WireBinding) -> list[Path]:
    """Return the core's files; raise InputError for a pattern that matches none."""
    folder = document.path.parent
    found: list[Path] = []
    for n, pattern in enumerate(binding.core.sources):
        matches = matching_files(folder.absolute(), pattern)
        if not matches:
            message = f"'{pattern}' is not a file in {folder}"
            raise InputError([document.problem(("core", "sources", n), message)])
        found += matches
    return list(dict.fromkeys(found))


def _faults(binding: WireBinding, design: Design) -> list[Fault]:
    """Return what of the binding does not fit the core's ports."""
    faults: list[Fault] = []
    roles: dict[str, str] = {}
    for direction, named in (("input", binding.driven()), ("output", binding.watched())):
        for key, port in named:
            found = design.ports.get(port)
            if found is None:
                faults.append((key, f"the core has no port '{port}'{near(port, design.ports)}"))
            elif found.direction != direction:
                article = "an" if found.direction[0] in "aeiou" else "a"
                faults.append((key, f"'{port}' is {article} {found.direction}"))
            elif port in roles:
                faults.append((key, f"'{port}' already has the role {roles[port]}"))
            elif key in (("outputs",), ("inputs",)) and (found.width or 0) > 16:
                faults.append((key, f"'{port}' has {found.width} bits; an expander has 16"))
            roles[port] = ".".join(key)
    inputs = [p.name for p in design.ports.values() if p.direction == "input"]
    left = [name for name in inputs if name not in roles]
    if left:
        line = ", ".join(f"{name}: 0" for name in left)
        faults.append((("tie",), f"nothing drives {', '.join(left)}; tie: {{{line}}} would"))
    return faults


def render_values(binding: WireBinding, design: Design) -> dict[str, Any]:
    """Return what the harness is rendered with."""
    connections = {
        binding.clock.port: "clk",
        binding.reset.port: _level("reset", binding.reset.active),
        binding.scl.senses.port: _level("scl", binding.scl.senses.active),
        binding.sda.senses.port: _level("sda", binding.sda.senses.active),
        binding.outputs: f"host_outputs[{(design.ports[binding.outputs].width or 1) - 1}:0]",
        **{name: str(value) for name, value in binding.tie.items()},
    }
    outputs = {
        p.name: p.width for p in design.ports.values() if p.direction == "output" and p.width
    }
    return {
        "top": binding.core.top,
        "parameters": binding.core.parameters,
        "wires": outputs,
        "connections": connections | {name: name for name in outputs},
        "scl": _level(binding.scl.pulls.port, binding.scl.pulls.active),
        "sda": _level(binding.sda.pulls.port, binding.sda.pulls.active),
        "inputs": binding.inputs or "16'h0000",
        "reset_cycles": binding.reset.cycles,
    }


def _level(expression: str, active: str) -> str:
    return f"~{expression}" if active == "low" else expression
