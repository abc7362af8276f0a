"""The run that refutes a core, as a scenario for lockstep: the same cycles on any simulator."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import yaml

from refmodel.prove.arrays import Computer
from refmodel.prove.walk import Walker, WalkTrace
from refmodel.report.atomic import write_text
from testbenches.harness import Harness
from testbenches.prove.product import Product

TAIL = 4  # cycles behind the one in which they differ


def scenario_of(product: Product, harness: Harness, trace: WalkTrace, name: str) -> dict[str, Any]:
    """Return the scenario that plays a run, as the data of its file."""
    start = harness.binding.reset.cycles
    first = start - 1  # the cycle of the run's first edge
    length = len(trace) + TAIL
    inputs = trace.inputs
    bits = [(n - 1, e["drive.bit"]) for n, e in enumerate(inputs) if e.get("drive.bit_strobe")]
    flux = harness.binding.disk.flux is not None
    bits = bits or [(length - 1, int(flux))]  # of flux there is one transition at least
    found: dict[str, Any] = {
        "name": name,
        "about": f"Found by a proof: {', '.join(trace.broken)} differs in cycle"
        f" {first + len(trace) - 1}.",
        "track": {
            "layout": "timed",
            "at": [at for at, _ in bits],
            "bits": "".join(str(bit) for _, bit in bits),
            "cycles": length,
        },
        "host": {"program": "in_order", "params": {"accesses": _accesses(product, harness, trace)}},
    }
    levels = {}
    for level in product.levels:
        values = [0, *(edge.get(f"drive.{level}", 0) for edge in inputs[1:])]
        changes = [first + n for n, (a, b) in enumerate(pairwise(values), start=1) if a != b]
        levels[level] = {"changes_at": changes}
    found["levels"] = levels
    found["resets"] = _resets(trace, first)
    found["idle_lines"] = _idle_lines(trace, first)
    if harness.binding.memory is not None:
        slots = [first + n for n, edge in enumerate(inputs) if edge.get("drive.slot")]
        found["slots"] = {"line_cycles": start + length + 9, "at": slots or [start + length + 8]}
        words = _memory(product, trace)
        found["memory"] = [{"words": words}] if words else []
    return found


def _idle_lines(trace: WalkTrace, first: int) -> list[dict[str, int]]:
    """Return what the lines carry while they mean nothing, from each cycle on in which it moves."""
    found: list[dict[str, int]] = []
    for n, edge in enumerate(trace.inputs):
        bit = 0 if edge.get("drive.bit_strobe") else edge.get("drive.bit", 0)
        lines = {
            "address": edge.get("host.loose_address", 0),
            "data": edge.get("host.loose_data", 0),
            "bit": bit,
        }
        if not found or lines.items() - found[-1].items():
            found.append({"at": first + n, **lines})
    return found


def write_scenario(path: Path, scenario: dict[str, Any]) -> None:
    """Write a scenario file, whole or not at all."""
    text = yaml.safe_dump(scenario, sort_keys=False, width=96, default_flow_style=None)
    write_text(path, f"# Written by cellstep prove.\n{text}")


def _accesses(product: Product, harness: Harness, trace: WalkTrace) -> list[list[int | str]]:
    """Return each access as what the program takes: its cost, register and value."""
    bus, shape = product.bus, harness.shape
    if bus is None:
        return []
    found: list[list[int | str]] = []
    first, now = harness.binding.reset.cycles - 1, harness.binding.reset.cycles
    due = 0
    for n, edge in enumerate(trace.inputs):
        if due:
            due = bus.cycles[due - 1].follows
            continue
        number = edge.get("host.access", 0)
        if not number:
            continue
        cycle = bus.cycles[number - 1]
        due = cycle.follows
        register = cycle.register if cycle.register != "other" else _readable(harness)
        access: list[int | str] = [first + n - now, register]
        bus_cycles = 1 if cycle.register in ("other",) else len(getattr(shape, cycle.register))
        if cycle.register not in ("status", "other"):
            access.append(edge["host.value"])
        found.append(access)
        now = first + n + bus_cycles - 1 + shape.read_latency
    return found


def _readable(harness: Harness) -> str:
    """Return a register that is read without effect."""
    return next(name for name in harness.binding.registers if name != "status")


def _resets(trace: WalkTrace, first: int) -> list[dict[str, int]]:
    """Return the resets of a run but the one it begins with."""
    found: list[dict[str, int]] = []
    for n, edge in enumerate(trace.inputs[1:], start=1):
        if not edge["drive.reset"]:
            continue
        if found and found[-1]["at"] + found[-1]["cycles"] == first + n:
            found[-1]["cycles"] += 1
        else:
            found.append({"at": first + n, "cycles": 1})
    return found


def _memory(product: Product, trace: WalkTrace) -> list[int]:
    """Return the words of memory, in the order in which the core moves on from them."""
    walker = Walker(product.system)
    words: list[int] = []
    if "memory.word" not in product.system.state:
        return words
    state = {n: np.array([v], walker.dtype) for n, v in trace.start.items()}
    moves = Computer([product.core_moves])
    for edge in trace.inputs:
        inputs = {n: np.array([v], walker.dtype) for n, v in edge.items()}
        if moves.run(state | inputs)[0][0]:
            words.append(int(state["memory.word"][0]))
        state, _, _ = walker.step(state | inputs)
    return [*words, int(state["memory.word"][0])]
