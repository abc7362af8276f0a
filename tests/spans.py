"""Random stimuli that make every collision likely, and what a stepped block shows in them."""

import numpy as np

from refmodel.block.inputs import Inputs
from refmodel.engine.timeline import LINES
from refmodel.ground.bus import (
    LOW,
    READ_OTHER,
    READ_STATUS,
    WRITE_CONTROL,
    WRITE_SYNC_WORD,
    WRITE_TRANSFER,
)
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import LEVEL_INPUTS, Stimulus

ENABLE, WRITE = 0x8000, 0x4000
SYNC_WORDS = (0x4489, 0x8912, 0x0000, 0xFFFF, 0xAAAA)
KINDS = (READ_STATUS, WRITE_SYNC_WORD, READ_OTHER, WRITE_TRANSFER, WRITE_TRANSFER, WRITE_CONTROL)
GATES = ("master_enable", "channel_enable")


def busy_stimulus(
    seed,
    first,
    cycles,
    bit_share=0.5,
    access_share=0.1,
    mark=0x4489,
    level_changes=0,
    reset=False,
    direction=None,
    control=0,
    memory=None,
    words=None,
):
    """Return random bits, accesses and levels; `direction` 0 or 1 makes all transfers alike.

    A transfer of `words` is started early in the span, `control` written before it.
    """
    rng = np.random.default_rng(seed)
    span = np.arange(first, first + cycles)
    bit_cycle = span[rng.random(cycles) < bit_share]
    bits = rng.integers(0, 2, len(bit_cycle))
    for at in range(20, len(bits) - 16, 150):
        bits[at : at + 16] = [int(b) for b in f"{mark:016b}"]
    access_cycle = span[rng.random(cycles) < access_share]
    kind = rng.choice(KINDS, len(access_cycle)).astype(np.uint8)
    mask = rng.choice((0xFFFF, 0xFFFF, 0xFF00, 0x00FF), len(kind)).astype(np.uint16)
    value = rng.choice(SYNC_WORDS, len(kind))
    value = np.where(kind == WRITE_CONTROL, rng.integers(0, 0x10000, len(kind)), value)
    value = np.where(kind == WRITE_TRANSFER, _transfers(rng, len(kind), direction), value)
    if access_share:  # one sure start, so that long spans have long transfers
        begin = (
            ENABLE | int(rng.integers(0, 40) if words is None else words) | WRITE * (direction or 0)
        )
        sure = [(first + n, WRITE_TRANSFER, 0xFFFF, begin) for n in (30, 31)]
        if control:
            sure = [(first + 29, WRITE_CONTROL, 0xFFFF, control), *sure]
        kept = (access_cycle < first + 29) | (access_cycle > first + 31)
        at = np.searchsorted(access_cycle[kept], first + 30)
        columns = zip((access_cycle, kind, mask, value), zip(*sure, strict=True), strict=True)
        access_cycle, kind, mask, value = (np.insert(c[kept], at, new) for c, new in columns)
    start = int(rng.integers(first, first + cycles))
    return Stimulus(
        first,
        cycles,
        bit_cycle,
        bits.astype(np.uint8),
        access_cycle,
        kind,
        mask,
        value.astype(np.uint16),
        _levels(rng, first, cycles, level_changes),
        ((start, min(start + 5, first + cycles)),) if reset else (),
        memory=np.array(rng.integers(0, 0x10000, 8192) if memory is None else memory, np.uint16),
    )


def _transfers(rng, count, direction):
    """Return words to write to transfer: mostly starts of few words, some stops."""
    enable = np.where(rng.random(count) < 0.85, ENABLE, 0)
    write = rng.integers(0, 2, count) if direction is None else direction
    return enable | write * WRITE | rng.choice((0, 1, 2, 3, 5, 40), count)


def _levels(rng, first, cycles, changes):
    levels = {}
    for name, idle in LEVEL_INPUTS.items():
        if not changes:
            levels[name] = Lane.constant(idle, first)
            continue
        at = np.concatenate(([first], np.sort(rng.integers(first, first + cycles, changes))))
        mostly = rng.integers(0, 2, len(at)) if name not in GATES else rng.random(len(at)) < 0.7
        levels[name] = Lane.of(at, mostly.astype(int))
    return levels


def inputs_of(stimulus, block):
    """Spread a stimulus out into the block's inputs at each of its edges."""
    bits = dict(zip(stimulus.bit_cycle.tolist(), stimulus.bit.tolist(), strict=True))
    columns = (stimulus.access_kind, stimulus.access_mask, stimulus.access_value)
    rows = zip(*(column.tolist() for column in columns), strict=True)
    accesses = dict(zip(stimulus.access_cycle.tolist(), rows, strict=True))
    cycles = np.arange(stimulus.first, stimulus.end)
    levels = {name: lane.at(cycles).tolist() for name, lane in stimulus.levels.items()}
    for cycle in cycles.tolist():
        kind, mask, value = accesses.get(cycle, (None, 0, 0))
        whole = 1 if mask & LOW else 0
        place = block.state.transfer.memory_index
        yield (
            cycle,
            Inputs(
                reset=int(any(a <= cycle < b for a, b in stimulus.resets)),
                bit_strobe=int(cycle in bits),
                bit=bits.get(cycle, 0),
                read_status=int(kind == READ_STATUS),
                write_sync_word=mask if kind == WRITE_SYNC_WORD else 0,
                sync_word=value,
                write_transfer=whole if kind == WRITE_TRANSFER else 0,
                transfer=value,
                write_control=whole if kind == WRITE_CONTROL else 0,
                control=value,
                slot=block.settings.slots.granted(cycle),
                slot_data=int(stimulus.memory[place]) if place < len(stimulus.memory) else 0,
                **{name: values[cycle - stimulus.first] for name, values in levels.items()},
            ),
        )


def shown_of(block):
    """Return status, the other outputs and the diagnostic counters, in the order of `LINES`."""
    transfer = block.state.transfer
    counters = {"lost_words": transfer.lost_words, "underruns": transfer.underruns}
    lines = [counters.get(name, getattr(block, name, None)) for name in LINES]
    return (block.status, *lines)
