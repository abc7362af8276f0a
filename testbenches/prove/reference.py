"""What a core is held against, as expressions of one edge: the model, or another core."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import z3

from refmodel.block.fields import FIELD_NAMES, UNUSED, Layout
from refmodel.block.rules import Rules
from refmodel.engine.inner import COUNTERS, INNER, INSIDE
from refmodel.ground.word import WORD, WORD_BITS
from refmodel.profile import Profile
from refmodel.prove.block import SAMPLED, symbolic_block
from refmodel.prove.system import System
from testbenches.binding.roles import Watched
from testbenches.prove.bound_core import BoundCore

MODEL = "model."


@dataclass
class Reference:
    """What shows around an edge.

    `fields` has each field of status after the edge, `fields_before` before it; `lines` likewise
    the output lines, and the registers inside that a binding may observe. `moved` says whether a
    word moves on the edge, `stored` whether to memory, and `word` what is stored. `other` is the
    core that is the reference, None for the model.
    """

    fields: dict[str, z3.BitVecRef]
    fields_before: dict[str, z3.BitVecRef]
    lines: dict[str, z3.BitVecRef]
    lines_before: dict[str, z3.BitVecRef]
    moved: z3.BitVecRef
    stored: z3.BitVecRef
    word: z3.BitVecRef
    other: BoundCore | None = None


def model_reference(
    system: System, profile: Profile, inputs: Mapping[str, z3.BitVecRef]
) -> Reference:
    """Add the model to a system, with what it samples in place, and return what it shows."""
    fixed = {}
    for name, value in inputs.items():
        value = z3.simplify(value)
        if z3.is_bv_value(value):
            fixed[name] = value.as_long()
    for register in ("transfer", "control"):
        if fixed.get(f"write_{register}") == 0:
            fixed[register] = 0
    block = symbolic_block(Rules.of(profile), fixed=fixed)
    pairs = [
        (taken, inputs[name.removeprefix(f"{MODEL}{SAMPLED}")])
        for name, taken in block.system.inputs.items()
    ]

    def put(value: z3.ExprRef) -> z3.ExprRef:
        return z3.simplify(z3.substitute(value, *pairs))

    system.state |= block.system.state
    system.start |= block.system.start
    system.after |= {n: put(v) for n, v in block.system.after.items()}
    system.ranges |= {n: put(v) for n, v in block.system.ranges.items()}
    inner = {name: f"{MODEL}{name}" for name in INNER}
    inner |= {name: f"{MODEL}transfer.{name}" for name in COUNTERS}
    lines = {name: put(value) for name, value in block.lines.items()}
    before = {name: put(value) for name, value in block.lines_before.items()}
    return Reference(
        fields_of(put(block.status), profile.status),
        fields_of(put(block.status_before), profile.status),
        lines | {name: _held(system.after, held, name) for name, held in inner.items()},
        before | {name: _held(system.state, held, name) for name, held in inner.items()},
        put(block.moved),
        put(block.stored),
        put(block.word),
    )


def _held(values: Mapping[str, z3.BitVecRef], held: str, name: str) -> z3.BitVecRef:
    """Return what a register inside holds; 0 where no transfer can move it, and it is left out."""
    return values.get(held, z3.BitVecVal(0, INSIDE[name]))


def core_reference(core: BoundCore, profile: Profile) -> Reference:
    """Return what a core shows that another one is held against."""
    watched, none = core.binding.lines_observed, z3.BitVecVal(0, 1)
    memory = core.memory() if core.binding.memory is not None else {}
    return Reference(
        fields_shown(core, profile.status, after=True),
        fields_shown(core, profile.status, after=False),
        {w.lane: core.shown(w) for w in watched},
        {w.lane: core.before(w) for w in watched},
        core.moves,
        core.moves & memory.get("store", none),
        memory.get("data_out", z3.BitVecVal(0, WORD_BITS)),
        core,
    )


def fields_shown(core: BoundCore, layout: Layout, after: bool) -> dict[str, z3.BitVecRef]:
    """Return the fields of status that a core shows, after an edge or before it."""
    found: dict[str, z3.BitVecRef] = {}
    for watched in core.binding.observed:
        value = core.shown(watched) if after else core.before(watched)
        found |= parts_shown(watched, value, layout)
    return found


def parts_shown(watched: Watched, value: z3.BitVecRef, layout: Layout) -> dict[str, z3.BitVecRef]:
    """Return the fields in something observed: all of status, or one of them."""
    return fields_of(value, layout) if watched.lane == "status" else {watched.lane: value}


def fields_of(word: z3.BitVecRef, layout: Layout) -> dict[str, z3.BitVecRef]:
    """Return the fields of a status word, and of the unused bits all that is set."""
    found = {UNUSED: word & (layout.mask_of(UNUSED) & WORD)}
    for name in FIELD_NAMES:
        found[name] = z3.Extract(layout[name].msb, layout[name].lsb, word)
    return {name: z3.simplify(value) for name, value in found.items()}


def in_place(value: z3.BitVecRef, layout: Layout, name: str) -> z3.BitVecRef:
    """Return a field as the word of status has it, with nothing beside it."""
    if name == UNUSED:
        return value
    return z3.ZeroExt(WORD_BITS - value.size(), value) << layout[name].lsb
