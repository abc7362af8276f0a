"""The timeline's claim about quiet edges, held against `next_state` itself."""

from __future__ import annotations

import dataclasses
from typing import Any

import z3

from refmodel.block import registers
from refmodel.block.inputs import Inputs
from refmodel.engine import quiet
from refmodel.ground.stimulus import LEVEL_INPUTS
from refmodel.prove.block import BLOCK, SymbolicBlock, leaves
from refmodel.prove.fork import Fork, forking
from refmodel.prove.number import bits_of, constant

QUIET = (*BLOCK, "refmodel.engine.quiet")


def quiet_claim(block: SymbolicBlock) -> dict[str, z3.BoolRef]:
    """Return what must hold of any state and the edge that leads to it.

    When an edge leads to a state that counts as quiet, the next one, on which the levels stay and
    nothing arrives, changes what `after_quiet` says and nothing else; and the edges behind it are
    quiet as long as was said. So they are all quiet, by induction.
    """
    levels = {name: getattr(block.inputs, name) for name in LEVEL_INPUTS}
    idle = dataclasses.replace(Inputs(), **levels)
    with forking(Fork(), QUIET) as fork:
        sampled = dataclasses.replace(block.inputs, reset=0)
        first = registers.next_state(block.rules, block.before, sampled)
        edges = quiet.quiet_edges(block.rules, first, sampled)
        second = registers.next_state(block.rules, first, idle)
        said = fork.call(_after_one, first, edges)
        later = quiet.quiet_edges(block.rules, second, idle)
        is_quiet = z3.simplify(fork.expand(bits_of(edges) > constant(0)))
        same = [
            fork.expand(bits_of(a) == bits_of(b))
            for (_, a), (_, b) in zip(leaves(second), leaves(said), strict=True)
        ]
        lasts = fork.expand(bits_of(later) >= bits_of(edges) - 1)
    return {
        "unchanged": z3.Implies(is_quiet, z3.simplify(z3.And(same))),
        "lasts": z3.Implies(is_quiet, z3.simplify(lasts)),
    }


def _after_one(state: Any, edges: Any) -> Any:  # noqa: ANN401 - numbers that may not be known
    """Return the state one edge on, if that edge is quiet."""
    return quiet.after_quiet(state, 1) if edges > 0 else state
