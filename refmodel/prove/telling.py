"""Chooses among runs that break a claim the one that tells most about why.

A short run often shows first what is only a consequence: a wrong window in sync_equal, a late flag
in a byte of zeros that might have been lost as well.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

import z3

from refmodel.prove.system import System

READY, EQUAL, DATA = "status.byte_ready", "status.sync_equal", "status.data"
DONE, MOVES = "line.transfer_done", "slot.memory"
DMA, WRITING = "status.dma_active", "status.writing"
BYTE_CYCLES = 12  # a byte takes eight channel bits, and a few cycles before them
MORE_CYCLES = 6  # a longer transfer, so that its end is not where it goes wrong


@dataclasses.dataclass(frozen=True)
class Telling:
    """A system in which only some runs break a claim, and how many edges may be looked at."""

    system: System
    depth: int


def tellings(
    system: System, shown: Mapping[str, z3.BitVecRef], broken: Sequence[str], length: int
) -> Iterator[Telling]:
    """Yield what to look for when a run of so many edges breaks these claims, best first.

    `shown` is what the core shows, by claim.
    """
    if EQUAL in broken and DATA in system.claims:
        # The window feeds bytes and comparator alike: if a byte can be the first that is wrong,
        # it is not the comparator. Nor is a byte late that is not the one before the last bit.
        others = z3.And([c for name, c in system.claims.items() if not name.endswith(".data")])
        window, wrong = system.state.get("model.window"), z3.Not(system.claims[DATA])
        depth = max(BYTE_CYCLES, length)
        if window is not None:
            late = shown[DATA] == z3.Extract(7, 0, window)
            yield Telling(_only(system, DATA, z3.And(wrong, z3.Not(late)), others), depth)
        yield Telling(_only(system, DATA, wrong, others), depth)
    yield from _quiet_move(system, broken, length)
    yield from _own_levels(system, broken, length)
    data = system.state.get("model.data")
    if READY in broken and data is not None:
        # A byte unlike the one before shows in data whether it is there. A byte that is framed
        # wrongly with control as reset leaves it is no fault of control.
        moved = system.after["model.data"] != data
        wrong = z3.Not(z3.And(list(system.claims.values())))
        control = system.state.get("model.control")
        if control is not None:
            yield Telling(_only(system, READY, z3.And(wrong, moved), control == 0), length)
            yield Telling(_only(system, READY, wrong, control == 0), length)
        yield Telling(_only(system, READY, z3.And(wrong, moved), z3.BoolVal(True)), length)


def _quiet_move(system: System, broken: Sequence[str], length: int) -> Iterator[Telling]:
    """Yield runs in which a transfer goes wrong neither at an access nor at its end.

    A word that moves wrongly tells more than the end that comes with it, unless the end is hidden
    by what comes with it on one edge: runs of one thing at a time come first.
    """
    if DONE not in broken and MOVES not in broken:
        return
    idle = z3.Not(_accessed(system))
    others = z3.And([c for name, c in system.claims.items() if name != MOVES])
    wrong = z3.And(z3.Not(z3.And(list(system.claims.values()))), idle)
    for apart, more in ((_one_at_a_time(system), MORE_CYCLES), (z3.BoolVal(True), 0)):
        if MOVES in system.claims:
            moved = z3.And(z3.Not(system.claims[MOVES]), idle)
            yield Telling(_only(system, MOVES, moved, z3.And(others, apart)), length + MORE_CYCLES)
        yield Telling(_only(system, MOVES, wrong, apart), length + more)


def _accessed(system: System) -> z3.BoolRef:
    """Return that the host accesses the core on an edge."""
    begun = [z3.Not(v == 0) for name, v in system.inputs.items() if name == "host.access"]
    due = [z3.Not(v == 0) for name, v in system.state.items() if name == "host.due"]
    return z3.Or(begun + due)


def _one_at_a_time(system: System) -> z3.BoolRef:
    """Return that no gate is off, and bit, slot and access come on edges of their own."""
    names = ("drive.bit_strobe", "drive.slot")
    comes = [system.inputs[name] == 1 for name in names if name in system.inputs]
    pairs = combinations([*comes, _accessed(system)], 2)
    return z3.And([_gates_on(system), *(z3.Not(z3.And(a, b)) for a, b in pairs)])


def _gates_on(system: System) -> z3.BoolRef:
    """Return that no gate is off once the first reset is over."""
    gates = [v == 1 for name, v in system.inputs.items() if name.endswith("_enable")]
    age = system.state.get("bench.age")
    return z3.BoolVal(True) if age is None or not gates else z3.Or(age == 0, z3.And(gates))


def _own_levels(system: System, broken: Sequence[str], length: int) -> Iterator[Telling]:
    """Yield runs in which a level is wrong though no gate and no stop has a part in it."""
    wrong = z3.Not(z3.And(list(system.claims.values())))
    enable = system.after.get("model.transfer.enable")
    if DMA in broken:
        yield Telling(_only(system, DMA, wrong, _gates_on(system)), length + MORE_CYCLES)
    if WRITING in broken and enable is not None:
        yield Telling(_only(system, WRITING, z3.And(wrong, enable == 1), z3.BoolVal(True)), length)


def _only(system: System, name: str, wrong: z3.BoolRef, assumed: z3.BoolRef) -> System:
    """Return a system that claims one thing: what is `wrong` so that it tells does not happen.

    Whatever else is claimed holds up to there.
    """
    kept = z3.Or(z3.And(list(system.claims.values())), wrong)
    more = {**system.assumed, "so that it tells more": z3.And(kept, assumed)}
    return dataclasses.replace(system, claims={name: z3.Not(wrong)}, assumed=more)
