"""When each clause has something to say: a proof under which that never happens shows nothing."""

from __future__ import annotations

import z3

from testbenches.prove.product import Product


def triggers(both: Product) -> dict[str, z3.BoolRef]:
    """Return, by clause, a condition on state and inputs of an edge on which it matters."""
    system, inputs = both.system, both.sampled
    state, after = system.state, system.after

    def held(name: str) -> z3.BitVecRef:
        return state.get(f"model.{name}", z3.BitVecVal(0, 1))

    def comes(name: str) -> z3.BitVecRef:
        return after.get(f"model.{name}", z3.BitVecVal(0, 1))

    alive = inputs["reset"] == 0
    bit = z3.And(alive, inputs["bit_strobe"] == 1)
    done = z3.And(bit, held("bit_count") == 7) if "model.bit_count" in state else z3.BoolVal(False)
    reads = inputs.get("read_status", z3.BitVecVal(0, 1)) == 1
    found: dict[str, z3.BoolRef] = {
        "B2 bit": bit,
        "B3 match": z3.And(bit, comes("sync_equal") == 1),
        "B4 byte": done,
        "B14 reset": z3.And(inputs["reset"] == 1, held("byte_ready") == 1),
    }
    if both.bus is not None:
        found["B5 read of a byte"] = z3.And(reads, held("byte_ready") == 1)
        found["B5 byte and read on one edge"] = z3.And(reads, done)
    for clause, name in (("B6", "dma_active"), ("B7", "writing")):
        if f"drive.{name}" in system.inputs or "model.transfer.running" in state:
            found[f"{clause} {name}"] = comes(name) == 1
    if "model.transfer.running" in state:
        found |= {
            "B9 start": z3.And(held("transfer.running") == 0, comes("transfer.running") == 1),
            "B10 word stored": z3.And(both.reference.moved == 1, both.reference.stored == 1),
            "B11 word taken": z3.And(both.reference.moved == 1, both.reference.stored == 0),
            "B11 write gate": comes("transfer.writer.gate") == 1,
            "B12 transfer_done": comes("transfer.done") == 1,
            "B15 gate off": z3.And(held("transfer.running") == 1, inputs["gates"] == 0),
        }
    if "model.control" in state and both.writes_control:
        found["B13 control"] = z3.And(alive, comes("control") != held("control"))
    return {name: z3.simplify(met) for name, met in found.items()}


def shows(both: Product) -> dict[str, z3.BoolRef]:
    """Return, of a core that another is held against, that each thing it shows is not 0."""
    reference = both.reference
    shown = reference.fields | reference.lines | {"word moved": reference.moved}
    found = {name: z3.simplify(value != 0) for name, value in shown.items()}
    return {name: met for name, met in found.items() if not z3.is_false(met)}
