"""Waves: signals over a window of cycles, and the VCD file of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import IO

import numpy as np
from vcd import VCDWriter

from refmodel.block.fields import STATUS_FIELDS, STATUS_WIDTH, UNUSED
from refmodel.block.registers import RegisterBlock, State
from refmodel.engine.compare import CHANNEL_BIT
from refmodel.engine.edges import edges
from refmodel.engine.inner import INNER
from refmodel.ground.bus import READ_OTHER, READ_UNUSED, WRITE_KINDS, WRITE_UNUSED, reads_status
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.moves import Moves
from refmodel.ground.separated import SeparatedBits
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import Profile

CYCLE_BITS = 32
PHASE_STEPS = 4096  # a cycle, in a separator's waves
COUNTERS = ("lost_words", "underruns")  # diagnostic counters of the model
COMMENT = (
    "cycle n lasts from its rising clock edge to the next; disk and host lanes are shown "
    "in the cycle whose first edge takes them; separator.phase and separator.period are in "
    "1 / 4096 cycles, phase in two's complement"
)
Change = tuple[int, int, int]  # cycle, value, bits of it that are X or Z


@dataclass(frozen=True)
class Wave:
    """One signal: its changes in order of cycles; before the first one it is unknown."""

    scope: str
    name: str
    width: int
    changes: Sequence[Change]


def write_vcd(file: IO[str], profile: Profile, waves: Sequence[Wave], first: int, end: int) -> None:
    """Write cycles `first` .. `end - 1` of the waves, with the cycle's number as one more.

    Time is in ps from cycle 0 by the profile's exact clock. The same waves give the same bytes.
    """
    numbers = [(cycle, cycle % (1 << CYCLE_BITS), 0) for cycle in range(first, end)]
    all_waves = [Wave("time", "cycle", CYCLE_BITS, numbers), *waves]
    with VCDWriter(
        file,
        timescale="1 ps",
        date="",
        version="Cellstep",
        comment=COMMENT,
        init_timestamp=_picoseconds(first, profile),
    ) as writer:
        handles = [writer.register_var(w.scope, w.name, "wire", size=w.width) for w in all_waves]
        changes = [
            (cycle, n, _bits(value, unknown, all_waves[n].width))
            for n, wave in enumerate(all_waves)
            for cycle, value, unknown in wave.changes
            if first <= cycle < end
        ]
        for cycle, n, bits in sorted(changes):
            writer.change(handles[n], _picoseconds(cycle, profile), bits)
        writer.close(_picoseconds(end, profile))


def status_waves(scope: str, lanes: dict[str, Lane], first: int, end: int) -> Iterator[Wave]:
    """Yield the fields of status and the output lines, with no bit unknown."""
    for name, lane in lanes.items():
        yield Wave(scope, name, field_width(name), changes_of(lane, None, first, end))


def stimulus_waves(stimulus: Stimulus, first: int, end: int) -> Iterator[Wave]:
    """Yield the channel bits, reset and the level inputs, and which bus cycles the host makes."""
    yield pulses("disk", "bit_strobe", stimulus.bit_cycle, first, end)
    if len(stimulus.bit_cycle):
        bits = Lane.of(stimulus.bit_cycle, stimulus.bit)
        yield Wave("disk", "bit", 1, changes_of(bits, None, first, end))
    if len(stimulus.pulses):
        yield pulses("disk", "pulse", stimulus.pulses.cycle, first, end)
    if stimulus.separated is not None:
        yield from _separator_waves(stimulus.separated, first, end)
    levels = {"reset": _reset(stimulus), **stimulus.levels}
    for name, lane in levels.items():
        yield Wave("inputs", name, 1, changes_of(lane, None, first, end))
    kinds = stimulus.access_kind
    for name, made in (
        ("read_status", reads_status(kinds)),
        ("read_other", kinds == READ_OTHER),
        *((f"write_{register}", kinds == kind) for register, kind in WRITE_KINDS.items()),
        ("unused_address", (kinds == READ_UNUSED) | (kinds == WRITE_UNUSED)),
    ):
        yield pulses("host", name, stimulus.access_cycle[made], first, end)


def _as_word(values: Cycles, one: float) -> Cycles:
    """Return numbers of 1 / `one` cycles in 1 / 4096, rounded down, in two's complement."""
    return np.floor(values * PHASE_STEPS / one).astype(np.int64) & 0xFFFFFFFF


def _separator_waves(bits: SeparatedBits, first: int, end: int) -> Iterator[Wave]:
    """Yield the error of the last pulse, in two's complement, and the length of the last window.

    Both change when a channel bit is delivered, in 1 / 4096 cycles.
    """
    for name, values in (("phase", bits.phase), ("period", bits.period)):
        lane = Lane.of(bits.cycle, _as_word(values, bits.one))
        yield Wave("separator", name, CYCLE_BITS, changes_of(lane, None, first, end))


def move_waves(scope: str, moves: Moves, first: int, end: int) -> Iterator[Wave]:
    """Yield when words are moved to and from memory, and the words."""
    for name, way in (("stores", moves.store == 1), ("fetches", moves.store == 0)):
        yield pulses(scope, name, moves.cycle[way], first, end)
    rows = zip(moves.cycle.tolist(), moves.word.tolist(), strict=True)
    near = [(cycle, word, 0) for cycle, word in rows if first <= cycle < end]
    yield Wave(scope, "word", STATUS_WIDTH, near)


def block_waves(
    profile: Profile, state: State, stimulus: Stimulus, first: int, end: int
) -> list[Wave]:
    """Return the model's window, sync_word and byte count; it is in `state` before the stimulus."""
    block = RegisterBlock(profile)
    block.restore(state)
    names = {"window": STATUS_WIDTH, "sync_word": STATUS_WIDTH, "bit_count": 3}
    seen: dict[str, dict[int, int]] = {name: {} for name in names}
    for edge in edges(block, stimulus):
        if edge.cycle >= end:
            break
        for name, values in seen.items():
            values[max(edge.cycle, first)] = getattr(edge.after, name)
    return [
        Wave("block", name, width, [(cycle, value, 0) for cycle, value in seen[name].items()])
        for name, width in names.items()
    ]


def changes_of(lane: Lane, unknown: Lane | None, first: int, end: int) -> list[Change]:
    """Return a lane's changes in a window; it is unknown until it begins."""
    x_bits = unknown or Lane.constant(0, int(lane.cycle[0]))
    cycles = np.unique(np.concatenate(([first], lane.cycle, x_bits.cycle)))
    cycles = cycles[(cycles >= max(first, int(lane.cycle[0]))) & (cycles < end)]
    rows = zip(cycles.tolist(), lane.at(cycles).tolist(), x_bits.at(cycles).tolist(), strict=True)
    return list(rows)


def field_width(name: str) -> int:
    """Return the bits of a lane; the unused ones are shown at their places in the register."""
    wide = {f.name: f.width for f in STATUS_FIELDS} | dict.fromkeys((UNUSED, *COUNTERS), 16)
    wide[CHANNEL_BIT] = 2
    return (wide | INNER).get(name, 1)


def _reset(stimulus: Stimulus) -> Lane:
    """Return the reset input over the stimulus."""
    ends = [edge for span in stimulus.resets for edge in span]
    cycles = np.array([stimulus.first, *ends], np.int64)
    return Lane.of(cycles, np.array([0] + [1, 0] * len(stimulus.resets)))


def pulses(scope: str, name: str, cycles: Cycles, first: int, end: int) -> Wave:
    """Return a wave that is 1 in each of the cycles and 0 in all others."""
    near = set(cycles[(cycles >= first) & (cycles < end)].tolist())
    changes = {first: 0} | {cycle + 1: 0 for cycle in near} | dict.fromkeys(near, 1)
    return Wave(scope, name, 1, [(cycle, level, 0) for cycle, level in sorted(changes.items())])


def _bits(value: int, unknown: int, width: int) -> str | int:
    """Return a value for the writer: a number, or its bits with x where unknown."""
    if not unknown:
        return value
    return "".join("x" if unknown >> n & 1 else str(value >> n & 1) for n in reversed(range(width)))


def _picoseconds(cycle: int, profile: Profile) -> int:
    """Return when a cycle begins."""
    return int(cycle * profile.cycle_ns * 1000)
