"""What of a core a run can make meet: its registers, inputs and memory, and its one bus."""

from __future__ import annotations

from refmodel.engine.unmet import Reachable
from testbenches.binding.depth import depth_of
from testbenches.binding.schema import Binding

GATES = {"master_enable", "channel_enable"}


def reachable(binding: Binding) -> Reachable:
    """Return what a bound core can make meet."""
    levels, shape, depth = set(binding.level_inputs), binding.bus_shape, depth_of(binding)
    known = {
        "bits": True,
        "reset": bool(binding.reset.port),
        "memory": binding.memory is not None,
        "gates": bool(levels & GATES),
        "levels": bool(levels - GATES),
    }
    parts = {*binding.registers, *(name for name, there in known.items() if there)}
    bus_cycles = max(
        len(shape.status), len(shape.sync_word), len(shape.transfer), len(shape.control)
    )
    nearest = 1 + shape.busy + (bus_cycles - 1) * shape.step
    return Reachable(frozenset(parts), nearest, depth.writes - depth.reads)
