"""What the span of a mismatch tells beyond it: dead outputs, straight levels, shifted bytes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.block.rules import Rules
from refmodel.engine.compare import Mismatch
from refmodel.engine.finding import Shown
from refmodel.engine.history import MATCH, Earlier
from refmodel.engine.memory_symptoms import memory_symptoms
from refmodel.engine.span_framing import span_framing
from refmodel.engine.timed_symptoms import timed_symptoms
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.word import WORD_BITS
from refmodel.profile import Profile

LEVELS = ("dma_active", "writing")
BYTE = 8  # channel bits
ENOUGH = 2  # changes of the core's that say the same
MANY = 4  # reads that all do the same
FARTHEST = 16  # channel bits


def symptoms(
    mismatch: Mismatch,
    profile: Profile,
    shown: Shown,
    earlier: list[Earlier],
    lags: Mapping[str, int],
) -> Iterator[str]:
    """Yield what the span tells beyond its first mismatch, in sentences.

    `lags` has the latency that the binding allows each field and line.
    """
    yield from in_reset(mismatch, shown)
    if dead(shown):
        yield (
            "no compared output ever changed in this revolution: are clock, enable and reset bound"
            " right, and does the core drive its outputs?"
        )
        return
    if follows_its_input(mismatch, shown):
        yield (
            f"{mismatch.field} follows its input in the same cycle: the read at this edge returns"
            f" the level as it is, not as sampled; inputs.{mismatch.field}.path: straight says so"
        )
    said = unheard(shown)
    if said:
        yield f"{said}: look at bus.read, select, write, read_latency and bus.registers"
    place = other_place(mismatch, profile, shown)
    if place is not None:
        yield (
            f"status bit {place} shows {mismatch.field} in every cycle: does the profile's layout"
            " say where this core has it?"
        )
    shift = shifted_bytes(mismatch, profile, shown, lags.get("data", 0))
    if shift:
        yield _shift_text(shift, mismatch, earlier)
    yield from timed_symptoms(mismatch, profile, shown)
    yield from memory_symptoms(mismatch, shown)


def in_reset(mismatch: Mismatch, shown: Shown) -> Iterator[str]:
    """Yield that a reset begins with a mismatch, or is so young that the field may be late."""
    cycle, lag = mismatch.cycle - (mismatch.through == "read"), mismatch.lag
    for begin in shown.stimulus.reset_begins:
        if begin <= cycle <= begin + lag and shown.compared_from < begin:
            late = f" or be {lag} cycles late until cycle {begin + lag}" if lag else ""
            must = f"{mismatch.field} must have its reset value{late}"
            yield f"a reset begins in cycle {begin}: {must}"


def dead(shown: Shown) -> bool:
    """Return whether no lane of the core changes though the model's do."""
    since = shown.compared_from
    lanes = {n: lane for n, lane in shown.observed.lanes.items() if n in FIELD_NAMES}
    still = all(not (lane.cycle > since).any() for lane in lanes.values())
    moving = any((shown.expected.lanes[name].cycle > since).any() for name in lanes)
    same_reads = len(np.unique(shown.reads.value & shown.reads.mask)) <= 1
    return bool(lanes) and still and moving and same_reads


def follows_its_input(mismatch: Mismatch, shown: Shown) -> bool:
    """Return whether a read shows a level that changed at its own edge, and already as it is."""
    if mismatch.through != "read" or mismatch.field not in LEVELS or mismatch.unknown:
        return False
    level = shown.stimulus.level(mismatch.field)
    changed = bool((level.cycle == mismatch.cycle).any())
    return changed and int(level.at(mismatch.cycle)) == mismatch.observed


def unheard(shown: Shown) -> str:
    """Say whether no read of status does in the core what it must; empty if some do."""
    reads, ready = shown.reads, shown.observed.lanes.get("byte_ready")
    returned = reads.value & reads.mask
    moving = (shown.expected.lanes["data"].cycle > shown.compared_from).sum() > ENOUGH
    if len(returned) >= MANY and moving and (returned == returned[0]).all():
        return f"each of {len(returned)} reads returns 0x{int(returned[0]):04X}"
    if ready is None:
        return ""
    at = shown.stimulus.clearing_reads
    at = at[at > max(shown.compared_from, int(ready.cycle[0]))]
    at = at[(ready.at(at - 1) == 1) & (at + 2 < shown.stimulus.end)]
    down = (ready.at(at) == 0) | (ready.at(at + 1) == 0) | (ready.at(at + 2) == 0)
    if len(at) < MANY or down.any():
        return ""
    return f"none of {len(at)} reads of status clears byte_ready in the core"


def other_place(mismatch: Mismatch, profile: Profile, shown: Shown) -> int | None:
    """Return the bit of status at which the core shows a flag in every cycle, if not its own."""
    model = shown.expected.lanes.get(mismatch.field)
    layout = profile.status
    if model is None or mismatch.field not in FIELD_NAMES or layout[mismatch.field].width > 1:
        return None
    first, since, end = shown.stimulus.first, shown.compared_from, shown.stimulus.end
    wanted = Lane.constant(int(model.value[0]), first).then(model.delayed(mismatch.lag))
    wanted = wanted.between(since, end)
    if len(wanted.cycle) <= ENOUGH:
        return None
    for name, lane in shown.observed.lanes.items():
        if name not in (*FIELD_NAMES, UNUSED):
            continue
        mask = layout.mask_of(name)
        lsb = 0 if name == UNUSED else layout[name].lsb
        own = layout[mismatch.field].lsb
        for bit in (n for n in range(WORD_BITS) if mask >> n & 1 and n != own):
            part = Lane.of(lane.cycle, lane.value >> np.uint32(bit - lsb) & np.uint32(1))
            if part.between(since, end).same_as(wanted):
                return bit
    return None


def shifted_bytes(mismatch: Mismatch, profile: Profile, shown: Shown, lag: int) -> int:
    """Return by how many channel bits the core completes its bytes later than the model.

    Below 0 it is earlier; 0: not always by as many, or not known. Only `data` tells, which may be
    `lag` cycles late.
    """
    data = shown.observed.lanes.get("data")
    if data is None or mismatch.field not in ("data", "byte_ready") or mismatch.through != "status":
        return 0
    framing = span_framing(Rules.of(profile), shown.stimulus, shown.state).framing
    core, begin = data.delayed(-lag), mismatch.cycle - mismatch.lag
    restarts = shown.stimulus.bit_cycle[framing.restart]
    after = restarts[restarts > begin]
    until = int(after[0]) if len(after) else shown.stimulus.end
    at = core.cycle[(core.cycle >= begin) & (core.cycle < until)]
    bits = shown.stimulus.bit_cycle
    index = np.searchsorted(bits, at)
    inside = index < len(bits)
    at, index = at[inside], index[inside]
    if len(at) < ENOUGH:
        return 0
    cut = framing.window[index] & 0xFF == core.at(at)
    on_a_bit = bits[index] == at
    if on_a_bit.all() and cut.all():
        return _phase(np.searchsorted(bits, framing.byte_cycle), index)
    return _whole_bytes(shown.expected.lanes["data"], core, at, bits)


def _phase(model: Cycles, core: Cycles) -> int:
    """Return by how many bits the core's bytes end behind the model's; 0 if that differs.

    Up to the next match that realigns, the model's end every eight bits: 5 behind is 3 before.
    """
    coming = model[model >= core[0]]
    if not len(coming):
        return 0
    behind = (core - coming[0]) % BYTE
    if (behind != behind[0]).any():
        return 0
    return int(behind[0]) - BYTE * bool(behind[0] > BYTE // 2)


def _whole_bytes(model: Lane, core: Lane, at: Cycles, bits: Cycles) -> int:
    """Return by how many channel bits the core's changes come after the same ones of the model."""
    mine = list(zip(np.searchsorted(bits, at).tolist(), core.at(at).tolist(), strict=True))
    theirs = dict(
        zip(np.searchsorted(bits, model.cycle).tolist(), model.value.tolist(), strict=True)
    )
    for shift in (n * sign for n in range(1, FARTHEST + 1) for sign in (1, -1)):
        if all(theirs.get(index - shift) == value for index, value in mine):
            return shift
    return 0


def _shift_text(shift: int, mismatch: Mismatch, earlier: list[Earlier]) -> str:
    bits = f"{abs(shift)} channel bit{'' if abs(shift) == 1 else 's'}"
    way = "late" if shift > 0 else "early"
    matches = [event.cycle for event in earlier if event.what == MATCH]
    since = f"the match at cycle {matches[-1]}" if matches else f"cycle {mismatch.cycle}"
    return f"the core completes its bytes {bits} {way} from {since} on"
