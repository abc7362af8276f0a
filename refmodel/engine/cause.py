"""Causes: why a bit of status changed, or should have, in a cycle - as data and in a sentence."""

from __future__ import annotations

from dataclasses import dataclass

from refmodel.block.fields import UNUSED, Layout
from refmodel.block.profile import Profile
from refmodel.block.registers import RegisterBlock, State
from refmodel.engine.compare import Divergence, Observed
from refmodel.engine.edges import Edge, edges
from refmodel.engine.stimulus import Stimulus

FIXED_CLAUSE = {"dma_active": "B6", "writing": "B7", "sync_equal": "B3", "data": "B4"}


@dataclass(frozen=True)
class Cause:
    """Why the model's field has its value: the clause, and the event in cycle `cycle`.

    `before` and `after` are the field's values around that event. When nothing touched the field
    in the diverging cycle itself, `cycle` is earlier: the event that last set it.
    """

    clause: str
    event: str
    cycle: int
    before: int
    after: int


def find_cause(
    divergence: Divergence,
    profile: Profile,
    state: State,
    stimulus: Stimulus,
    observed: Observed,
) -> Cause:
    """Step the model from `state` through the stimulus up to the divergence and say what it saw."""
    layout = profile.status
    block = RegisterBlock(profile)
    block.restore(state)
    value = _shown(divergence.field, block.status, layout)
    target = divergence.cycle - divergence.lag - (divergence.through == "read")
    last: Edge | None = None
    changed: tuple[Edge, int, int] | None = None
    for edge in edges(block, stimulus):
        if edge.cycle > target:
            break
        last, now = edge, _shown(divergence.field, edge.status_after, layout)
        if now != value:
            changed = (edge, value, now)
            value = now
    here = last if last and (last.cycle == target or last.inputs.reset) else None
    clause = _clause(divergence, here, observed)
    if here is not None:
        moved = changed is not None and changed[0] is here
        before = changed[1] if moved and changed else value
        return Cause(clause, describe(here, profile), here.cycle, before, value)
    if changed is not None:
        edge, before, after = changed
        event = f"nothing arrives in cycle {target}; last set by: {describe(edge, profile)}"
        return Cause(clause, event, edge.cycle, before, after)
    event = f"nothing arrives in cycle {target} that could change it"
    return Cause(clause, event, target, value, value)


def describe(edge: Edge, profile: Profile) -> str:
    """Say in words what arrived on an edge and what it did to the window and the byte count."""
    inputs, before, after = edge.inputs, edge.before, edge.after
    if inputs.reset:
        return "reset is asserted"
    said = []
    if inputs.write_sync_word:
        said.append(f"the host writes sync_word, now 0x{after.sync_word:04X}")
    if inputs.bit_strobe:
        text = f"channel bit {inputs.bit} arrives, window 0x{after.window:04X}"
        if completes_byte(edge):
            text += f", which completes the byte 0x{after.data:02X}"
        if after.sync_equal:
            text += " and equals sync_word"
        elif before.sync_equal:
            text += f" and no longer equals sync_word 0x{after.sync_word:04X}"
        said.append(text)
    if inputs.read_status:
        said.append("the host reads status")
    for name in ("dma_active", "writing"):
        old, new = getattr(before, name), getattr(inputs, name)
        if old != new:
            said.append(f"the input {name} {'rises' if new else 'falls'}")
    if not said:
        said.append("the comparator's view follows one cycle later")
    return "; ".join(said)


def completes_byte(edge: Edge) -> bool:
    """Return whether the edge's channel bit is the eighth of a byte (B4)."""
    return bool(edge.inputs.bit_strobe and not edge.inputs.reset and edge.before.bit_count == 7)


def _shown(field: str, word: int, layout: Layout) -> int:
    """Return a field's value, or the unused bits', in a status word."""
    return word & layout.unused_mask if field == UNUSED else layout[field].of(word)


def _clause(divergence: Divergence, here: Edge | None, observed: Observed) -> str:
    """Return the clause the core breaks."""
    field = divergence.field
    if field == UNUSED:
        return "B8"
    if here is not None and here.inputs.reset:
        return "B14"
    if divergence.through == "read" and field in observed.lanes:
        return "B5"  # the register was right: its read did not return it
    if field == "data" and here is not None and completes_byte(here):
        return _data_clause(divergence, here, observed)
    if field == "byte_ready":
        return _ready_clause(divergence, here, observed)
    return FIXED_CLAUSE[field]


def _data_clause(divergence: Divergence, here: Edge, observed: Observed) -> str:
    """Return the clause when data is wrong on the edge on which a byte completes."""
    if here.before.byte_ready:  # unread so far, and to be overwritten
        return "B5" if divergence.observed == here.before.data else "B4"
    framed_alike = "byte_ready" in observed.lanes  # for byte_ready would have diverged first
    late = divergence.observed == here.before.window & 0xFF
    return "B2" if framed_alike and not late else "B4"


def _ready_clause(divergence: Divergence, here: Edge | None, observed: Observed) -> str:
    """Return the clause when byte_ready is wrong: the flag's own, or the framing's."""
    if here is None or not completes_byte(here):
        to_clear = here is not None and here.inputs.read_status and here.before.byte_ready
        return "B4" if divergence.observed and not to_clear else "B5"
    before, after = here.before.data, here.after.data
    telling = "data" in observed.lanes and before != after
    taken = telling and int(observed.lanes["data"].at(divergence.cycle)) == after
    if here.inputs.read_status:
        return "B5" if taken or not telling else "B4"
    return "B5" if taken or "data" not in observed.lanes else "B4"
