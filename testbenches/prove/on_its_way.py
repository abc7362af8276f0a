"""Inputs on their way from a deep core's pins to its block: a reset loses what is under way."""

from __future__ import annotations

from collections.abc import Iterator

import z3

from refmodel.prove.seen import ON_ITS_WAY, Candidate
from refmodel.prove.system import System

KEPT = ".kept"  # ends the name of a stage that a reset does not clear


def delayed(
    system: System, name: str, value: z3.BitVecRef, edges: int, reset: z3.BitVecRef | None
) -> list[z3.BitVecRef]:
    """Return an input as it is 0, 1, ... `edges` edges later; a `reset` clears what is under way.

    Whether reset clears the core's own registers on that way is its own business. So beside each
    stage but the first there is one that goes on in a reset, for relations to be written with.
    """
    stages, still = [value], value
    for n in range(edges):
        place = f"{ON_ITS_WAY}{name}.{n}"
        held = system.register(place, value.size(), 0)
        system.after[place] = _unless(reset, stages[-1])
        stages.append(held)
        if n == 0 or reset is None:
            still = held
            continue
        kept = system.register(place + KEPT, value.size(), 0)
        system.after[place + KEPT] = still
        system.helpers.add(place + KEPT)
        still = kept
    return stages


def _unless(reset: z3.BitVecRef | None, value: z3.BitVecRef) -> z3.BitVecRef:
    return value if reset is None else z3.If(reset == 1, z3.BitVecVal(0, value.size()), value)


def emptied(system: System, lasted: z3.BitVecRef) -> Iterator[Candidate]:
    """Yield what may hold of stages that go on in a reset; `lasted` counts its edges, 0 for none.

    A stage is empty once the reset has come so far, and out of reset it holds what the cleared
    one does.
    """
    for name in sorted(n for n in system.helpers if n.endswith(KEPT)):
        kept, place = system.state[name], name.removesuffix(KEPT)
        cleared, n = system.state[place], int(place.rsplit(".", 1)[1])
        if n == 1:
            first = place.removesuffix("1") + "0"
            none = z3.Implies(lasted != 0, system.state[first] == 0)
            yield Candidate(f"{first} is empty in a reset", none)
        same = z3.If(lasted == 0, kept == cleared, cleared == 0)
        yield Candidate(f"{name} is {place} out of reset", same)
        yield Candidate(f"{name} is empty in time", z3.Implies(z3.UGT(lasted, n), kept == 0))
