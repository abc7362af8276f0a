"""Causes: why a bit of status changed, or should have, in a cycle - as data and in a sentence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from refmodel.block.fields import UNUSED, Layout
from refmodel.block.registers import RegisterBlock, State
from refmodel.engine.blame import Trail, clause_of, completes_byte
from refmodel.engine.compare import MEMORY, Mismatch
from refmodel.engine.edges import Edge, edges
from refmodel.engine.evidence import Observed
from refmodel.engine.inner import COUNTERS, INNER
from refmodel.engine.timeline import LINES
from refmodel.ground.numbers import counted
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import Profile

OF_THE_PATH = {*LINES, *COUNTERS, MEMORY, "dma_active", "writing"} - {"sync_found"}


@dataclass(frozen=True)
class Cause:
    """Why the model's field has its value: the clause, and the event in cycle `cycle`.

    `before` and `after` are the field's values around that event. When nothing touched the field
    in the mismatching cycle itself, `cycle` is earlier: the event that last set it.
    """

    clause: str
    event: str
    cycle: int
    before: int
    after: int


def find_cause(
    mismatch: Mismatch,
    profile: Profile,
    state: State,
    stimulus: Stimulus,
    observed: Observed,
) -> Cause:
    """Step the model from `state` through the stimulus up to the mismatch and say what it saw."""
    layout = profile.status
    block = RegisterBlock(profile)
    block.restore(state)
    value = _shown(mismatch.field, block, layout)
    target = mismatch.cycle - mismatch.lag - (mismatch.through == "read")
    trail = Trail(block.rules)
    changed: tuple[Edge, int, int] | None = None
    for edge in edges(block, stimulus):
        if edge.cycle > target:
            break
        trail.follow(edge)
        now = _shown(mismatch.field, block, layout)
        if now != value:
            changed = (edge, value, now)
            value = now
    last = trail.last
    here = trail.here = last if last and (last.cycle == target or last.inputs.reset) else None
    clause = clause_of(mismatch, trail, observed)
    moved = changed is not None and changed[0] is here
    if here is not None and (moved or matters(here, mismatch.field)):
        before = changed[1] if moved and changed else value
        return Cause(clause, describe(here), here.cycle, before, value)
    if changed is not None:
        edge, before, after = changed
        still = _nothing(target, there=here is not None)
        event = f"{still}; last set by: {describe(edge)}"
        return Cause(clause, event, edge.cycle, before, after)
    event = "nothing arrives that could change it"
    return Cause(clause, event, target, value, value)


def _nothing(cycle: int, there: bool) -> str:
    """Say that nothing came in a cycle, or nothing that could change the field."""
    return f"nothing arrives in cycle {cycle}{' that could change it' if there else ''}"


def matters(edge: Edge, field: str) -> bool:
    """Return whether what arrived on an edge can have to do with a field that stood still on it."""
    inputs, path = edge.inputs, edge.before.transfer
    if inputs.reset:
        return True
    if field in OF_THE_PATH:
        reading = path.running and not path.write
        return bool(
            (reading and inputs.bit_strobe) or _transfer_events(edge) or field in edge.changed
        )
    if field in ("byte_ready", "data"):
        return bool(inputs.bit_strobe or inputs.read_status or inputs.write_control)
    if field == "sync_equal":
        follows = edge.before.sync_equal != edge.before.sync_equal_before
        return bool(inputs.bit_strobe or inputs.write_sync_word or follows)
    return True


class Values(NamedTuple):
    """How the values that an edge leaves in registers are written in a sentence."""

    window: str
    sync_word: str
    data: str

    @classmethod
    def of(cls, state: State) -> Values:
        """Return them in hexadecimal."""
        return cls(f"0x{state.window:04X}", f"0x{state.sync_word:04X}", f"0x{state.data:02X}")


def describe(edge: Edge, values: Values | None = None) -> str:
    """Say in words what arrived on an edge and what it did to the window and the byte count.

    `values` stand for the numbers where another place shows those.
    """
    inputs, before, after = edge.inputs, edge.before, edge.after
    values = values or Values.of(after)
    if inputs.reset:
        return "reset is asserted"
    said = []
    if inputs.write_sync_word:
        said.append(f"the host writes sync_word, now {values.sync_word}")
    if inputs.bit_strobe:
        text = f"a {inputs.bit} arrives, window {values.window}"
        if completes_byte(edge):
            text += f", which completes the byte {values.data}"
        if after.sync_equal:
            text += " and equals sync_word"
        elif before.sync_equal:
            text += f" and no longer equals sync_word {values.sync_word}"
        said.append(text)
    if inputs.read_status:
        said.append("the host reads status")
    said += _transfer_events(edge)
    for name in ("dma_active", "writing"):
        if name in edge.changed:
            said.append(f"the input {name} {'rises' if getattr(inputs, name) else 'falls'}")
    return "; ".join(said or [_by_itself(edge)])


def _by_itself(edge: Edge) -> str:
    """Say what the block does on an edge on which nothing arrives."""
    before = edge.before
    shown = edge.status_before != edge.status_after  # by a view that is registered
    if shown and before.sync_equal != before.sync_equal_before:
        return "the comparator's view follows one cycle later"
    if before.transfer.done:
        return "the pulse of transfer_done ends"
    return "the serialiser goes on" if before.transfer.writer.active else "nothing arrives"


def _transfer_events(edge: Edge) -> list[str]:
    """Say what happened to control and to a transfer on an edge."""
    inputs, before, after = edge.inputs, edge.before.transfer, edge.after.transfer
    said = []
    if inputs.write_control:
        said.append(
            f"the host writes control 0x{inputs.control:04X}, now 0x{edge.after.control:04X}"
        )
    if inputs.write_transfer:
        said.append(f"the host writes transfer 0x{inputs.transfer:04X}")
    if after.running and not before.running:
        said.append(f"the transfer is accepted, {counted(after.length, 'word')}")
    if after.memory_index != before.memory_index:
        way = "from" if after.write else "to"
        said.append(
            f"a slot moves word {before.memory_index} {way} memory, {after.length} are left"
        )
    if before.running and not after.running:
        said.append("the transfer ends")
    if before.writer.gate != after.writer.gate:
        said.append(f"the write gate {'opens' if after.writer.gate else 'closes'}")
    if after.writer.data:
        said.append("a 1 is written")
    if not inputs.gates:
        said.append("a gate is off")
    return said


def _shown(field: str, block: RegisterBlock, layout: Layout) -> int:
    """Return what the block shows of a field, the unused bits, an output line; or holds inside."""
    if field == MEMORY:
        return block.moved.word if block.moved else 0
    if field in COUNTERS:
        return int(getattr(block.state.transfer, field))
    if field in LINES:
        return int(getattr(block, field))
    if field in INNER:
        return int(getattr(block.state, field))
    return block.status & layout.unused_mask if field == UNUSED else layout[field].of(block.status)
