"""Steps a register block through written-down edges and keeps what every cycle shows."""

from dataclasses import dataclass, replace

from refmodel.block.inputs import Inputs
from refmodel.block.registers import RegisterBlock, State
from refmodel.profile import Profile

ENABLE, WRITE = 0x8000, 0x4000
SET = 0x8000
# The policies these tests are written for: each event of an edge sees those that act before it.
SEES_ITS_EDGE = {
    "same_edge_write": "new",
    "dma_active_means": "running",
    "writing_means": "requested",
    "start_acts": "same_edge",
    "arming_counts": "afresh",
    "length_loads": "accepted",
    "fifo_forwarding": "both",
}
LEVELS = ("dma_active", "writing", "wait_for_sync", "master_enable", "channel_enable", "reset")


@dataclass
class Cycle:
    """What the block shows in one cycle, and what its slot moved at the edge before it."""

    status: int
    dma_active: int
    writing: int
    gate: int
    data: int
    found: int
    done: int
    moved: tuple | None
    state: State


def profile(**changes):
    """Return a profile of 7.09379 MHz; `changes` are its keys."""
    policies = SEES_ITS_EDGE | dict(changes.pop("policies", {}))
    return Profile.model_validate(
        {"name": "test", "clock_hz": 7093790, "channel_bit_ns": 2000, **changes}
        | {"policies": policies}
    )


def play(cycles, events, memory=(), slots=None, **changes):
    """Step `cycles` edges; `events` maps an edge to inputs. Levels hold, all else lasts one edge.

    Slots are granted on the edges in `slots`, or by the profile's schedule.
    """
    block = RegisterBlock(profile(**changes))
    schedule = block.settings.slots
    levels, seen = {}, []
    for edge in range(cycles):
        arriving = events.get(edge, {})
        levels |= {n: v for n, v in arriving.items() if n in LEVELS}
        granted = schedule.granted(edge) if slots is None else int(edge in slots)
        place = block.state.transfer.memory_index
        offered = memory[place] if place < len(memory) else 0
        block.step(Inputs(**{"slot": granted, "slot_data": offered, **arriving, **levels}))
        seen.append(_seen(block))
    return seen


def _seen(block):
    fields = block.settings.status.split(block.status)
    return Cycle(
        block.status,
        fields["dma_active"],
        fields["writing"],
        block.write_gate,
        block.write_data,
        block.sync_found,
        block.transfer_done,
        block.moved,
        replace(block.state),
    )


def transfer(value):
    """Return the inputs of a write of transfer."""
    return {"write_transfer": 1, "transfer": value}


def control(value):
    """Return the inputs of a write of control."""
    return {"write_control": 1, "control": value}


def armed(value, first=0):
    """Return two writes of `value` to transfer on edges `first` and `first + 1`."""
    return {first: transfer(value), first + 1: transfer(value)}


def bits(text, first, every=1):
    """Return channel bits, written as 0, 1 and _, from edge `first` on."""
    ones = text.replace("_", "")
    return {first + n * every: {"bit_strobe": 1, "bit": int(bit)} for n, bit in enumerate(ones)}


def words(*values, first, every=1):
    """Return the channel bits of 16-bit words."""
    return bits("".join(f"{value:016b}" for value in values), first, every)


def together(*parts):
    """Return events of several kinds, edge by edge."""
    events = {}
    for part in parts:
        for edge, inputs in part.items():
            events[edge] = {**events.get(edge, {}), **inputs}
    return events


def changes_of(values):
    """Return the (cycle, value) changes of a signal given in every cycle; 0 before the first."""
    return [(n, v) for n, (u, v) in enumerate(zip([0, *values], values, strict=False)) if u != v]


def lane(seen, name):
    """Return the changes of one of a run's signals."""
    return changes_of([getattr(cycle, name) for cycle in seen])


def moves(seen):
    """Return the moves of a run as (cycle, place, word, store)."""
    return [(n, *cycle.moved) for n, cycle in enumerate(seen) if cycle.moved]
