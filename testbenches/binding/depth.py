"""How deep a core is: the registers between its pins and its block, as its binding says."""

from __future__ import annotations

from refmodel.ground.depth import Depth
from refmodel.ground.errors import InputError
from refmodel.ground.yamlfile import Schema
from testbenches.binding.pins import LEVEL_INPUTS
from testbenches.binding.roles import GATES
from testbenches.binding.schema import Binding

BUS_KEYS = ("hold", "acts", "idle", "latency", "write_latency", "read_latency")
LEVEL_KEYS = ("path", "latency")


def depth_of(binding: Binding) -> Depth:
    """Return how many edges lie between the core's pins and its block."""
    bus, levels = binding.bus, binding.level_inputs
    late = {name: level.latency for name, level in levels.items() if level.latency}
    straight = frozenset(
        name for name in LEVEL_INPUTS if name in levels and levels[name].path == "straight"
    )
    if bus is None:
        return Depth(binding.disk.latency, levels=late, straight=straight)
    writes = bus.latency + bus.write_latency
    counted = bus.counted if bus.acknowledge is None else (0,)  # from the edge the core answers at
    return Depth(binding.disk.latency, bus.latency, writes, late, counted, straight)


def refuse_words(binding: Binding, who: str) -> None:
    """Raise UserError at the first key of words or clocks that only `cellstep run` can follow."""
    for key in depth_in_words(binding):
        message = f"{who}: takes no such core yet; leave the key out, or use `cellstep run`"
        raise InputError([binding.document.problem(tuple(key.split(".")), message)])


def depth_in_reports(binding: Binding) -> dict[str, str]:
    """Return every key in force that a report names: depth, other clock edges, words elsewhere."""
    found = stated_depth(binding)
    clock, reset, memory = binding.clock, binding.reset, binding.memory
    if clock.edge == "falling":
        found["clock.edge"] = clock.edge
    if clock.slow is not None:
        found["clock.slow"] = clock.slow
    if reset.leaves:
        found["reset.leaves"] = ", ".join(reset.leaves)
    if memory is not None and memory.written_at is not None:
        found["memory.written_at"] = f"{memory.written_at:#x}"
    for watched in binding.observed:
        if watched.parts:
            found[".".join(map(str, watched.key))] = f"{len(watched.parts)} signals joined"
    return found


def depth_in_words(binding: Binding) -> list[str]:
    """Return the keys in force of words fed, joined or unknown at first, and of the other edge."""
    found = [".".join(map(str, watched.key)) for watched in binding.observed if watched.parts]
    found += ["reset.leaves"] * bool(binding.reset.leaves)
    found += ["clock.edge"] * (binding.clock.edge == "falling")
    found += ["clock.slow"] * (binding.clock.slow is not None)
    fed = binding.memory is not None and binding.memory.written_at is not None
    return [*found, *["memory.written_at"] * fed]


def stated_depth(binding: Binding) -> dict[str, str]:
    """Return every key in force that says how deep the core is, by its place in the file."""
    parts: list[tuple[str, Schema | None, tuple[str, ...]]] = [
        ("disk", binding.disk, ("latency",)),
        ("bus", binding.bus, BUS_KEYS),
        *((f"inputs.{name}", getattr(binding.inputs, name), LEVEL_KEYS) for name in LEVEL_INPUTS),
        *((f"gates.{name}", getattr(binding.gates, name), LEVEL_KEYS) for name in GATES),
        ("lines.write_data", binding.lines.write_data, ("form", "cycles")),
    ]
    return {
        f"{where}.{key}": str(getattr(part, key))
        for where, part, keys in parts
        if part is not None
        for key in keys
        if getattr(part, key) != type(part).model_fields[key].default
    }
