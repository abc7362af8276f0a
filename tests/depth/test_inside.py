"""What reaches a block behind registers is what shift registers, stepped edge by edge, give it."""

import numpy as np
import pytest

from refmodel.ground.bus import READ_STATUS, WRITE_SYNC_WORD
from refmodel.ground.depth import AGAIN, PLAIN, Depth, Inside, quiet_in_reset
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus

SPANS = ((0, 90), (90, 200), (200, 260))
RESETS = ((0, 4), (70, 73), (120, 140), (200, 201))
DEPTHS = [
    Depth(disk=1),
    Depth(disk=3, reads=1, writes=2),
    Depth(reads=2, writes=5, levels={"dma_active": 2, "master_enable": 1}),
    Depth(disk=2, acts=(3,)),
    Depth(writes=1, acts=(0, 1, 2)),
]


def at_pins(seed, depth):
    """Return random spans: bits, accesses as far apart as they are long, a level, resets."""
    random = np.random.default_rng(seed)
    first_bits = np.flatnonzero(random.random(260) < 0.3)
    starts = np.cumsum(random.integers(depth.acts[-1] + 1, 9, 60))
    kinds = random.choice([READ_STATUS, WRITE_SYNC_WORD], len(starts)).astype(np.uint8)
    values = random.integers(1, 1 << 16, len(starts)).astype(np.uint16)
    level = Lane.of(np.arange(0, 260, 7), random.integers(0, 2, 38))
    for first, end in SPANS:
        bits = first_bits[(first_bits >= first) & (first_bits < end)]
        at = (starts >= first) & (starts < end)
        resets = [(max(a, first), min(b, end)) for a, b in RESETS if a < end and b > first]
        span = Stimulus(
            first,
            end - first,
            bits,
            (bits % 2).astype(np.uint8),
            starts[at],
            kinds[at],
            np.full(at.sum(), 0xFFFF, np.uint16),
            values[at],
            levels={"dma_active": level.between(first, end)},
            resets=tuple(resets),
        )
        yield quiet_in_reset(span, depth, RESETS)


def stepped(pins, clears):
    """Return what the block gets at each edge behind shift registers that reset clears, or not."""
    rows, held = {}, {}
    for edge, names in pins.items():
        reset = any(a <= edge < b for a, b in RESETS)
        for name, (value, late) in names.items():
            line = held.setdefault(name, [0] * late)
            if late:
                line.append(value)
                shown = line.pop(0)
                if reset and clears:
                    held[name] = [0] * late
            else:
                shown = value
            rows[edge, name] = shown if not reset else None
    return rows


def of(spans, depth, inside):
    """Return the value of each input at each edge, and how many registers are still before it."""
    spans, found, bits, reads, writes = list(spans), {}, {}, {}, {}
    for span in spans:
        bits |= dict(zip(span.bit_cycle.tolist(), span.bit.tolist(), strict=True))
        columns = (span.access_cycle, span.access_kind, span.access_mask, span.access_value)
        for edge, kind, mask, value in zip(*(c.tolist() for c in columns), strict=True):
            assert inside or mask != AGAIN
            for at in (0,) if inside else depth.acts:
                where = reads if kind == READ_STATUS else writes
                where[edge + at] = 1 if kind == READ_STATUS else value
    late = Depth() if inside else depth
    for span in spans:
        for edge in range(span.first, span.end):
            level = int(span.level("dma_active").at(edge))
            found[edge] = {
                "bit": (2 + bits[edge] if edge in bits else 0, late.disk),
                "read": (reads.get(edge, 0), late.reads),
                "write": (writes.get(edge, 0), late.writes),
                "level": (level, late.levels.get("dma_active", 0)),
            }
    return found


@pytest.mark.parametrize("depth", DEPTHS, ids=str)
@pytest.mark.parametrize("seed", range(5))
def test_inside_is_behind_shift_registers(depth, seed):
    """Bits, reads, writes and levels come as late as behind registers, over spans and resets.

    Bits and levels do so whether reset clears the registers or not.
    """
    pins = list(at_pins(seed, depth))
    inside = Inside(depth, RESETS)
    got = stepped(of([inside.take(span) for span in pins], depth, True), clears=True)
    wide = of(pins, depth, False)
    for clears in (True, False):
        wanted = stepped(wide, clears)
        names = ("bit", "read", "write", "level") if clears else ("bit", "level")
        differ = [key for key in wanted if key[1] in names and wanted[key] != got[key]]
        assert not differ, differ[:4]


def test_plain_depth_changes_nothing():
    """Without registers the block gets the very stimulus of the pins."""
    for span in at_pins(1, PLAIN):
        assert Inside(PLAIN).take(span) is span


def test_straight_level_is_low_in_reset():
    """A level without a register of its own is not up while the block is in reset."""
    depth = Depth(straight=frozenset({"dma_active"}))
    for span in at_pins(1, depth):
        lane = span.level("dma_active")
        assert not any(lane.at(edge) for a, b in span.resets for edge in range(a, b))
