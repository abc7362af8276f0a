"""Window, comparator and byte framing of a whole span at once: clauses B2, B3, B4 and B13."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from refmodel.block.registers import State
from refmodel.block.rules import Rules
from refmodel.ground.bus import WRITE_SYNC_WORD
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.stimulus import Stimulus

Writes = tuple[Cycles, NDArray[np.uint16]]


@dataclass(frozen=True)
class Framing:
    """What the channel bits of a span make of the window and the byte counter.

    `window[i]`, `match[i]` and `restart[i]` are as they stand after channel bit i; a restart is a
    match with realignment on. `byte[j]` completes on the edge `byte_cycle[j]`; `ends` are the edges
    on which one completes, delivered or not.
    """

    window: NDArray[np.uint16]
    match: NDArray[np.bool_]
    restart: NDArray[np.bool_]
    byte_cycle: Cycles
    byte: NDArray[np.uint16]
    ends: Cycles
    window_after: int
    sync_word_after: int
    bit_count_after: int


def windows(bits: NDArray[np.uint8], window: int) -> NDArray[np.uint16]:
    """Return the 16-bit window after each of `bits`, shifted into `window` (B2)."""
    earlier = (window >> np.arange(15, -1, -1)) & 1
    w = np.concatenate((earlier, bits)).astype(np.uint16)
    for width in (1, 2, 4, 8):
        wider = w.copy()
        wider[width:] |= w[:-width] << np.uint16(width)
        w = wider
    return w[16:]


def frame(
    rules: Rules,
    stimulus: Stimulus,
    writes: Writes,
    state: State,
    realigning: Lane,
    top_bit_framing: Lane,
) -> Framing:
    """Frame the span's channel bits into bytes (B4, B13), starting from `state`.

    `realigning` is up where a match restarts the count, `top_bit_framing` where a byte starts
    with a 1.
    """
    cycle = stimulus.bit_cycle
    window = windows(stimulus.bit, state.window)
    match = window == _met(rules, writes, cycle, state.sync_word)
    restart = match & _up(realigning, cycle)
    ends, count = _byte_ends(stimulus, restart, state.bit_count, top_bit_framing)
    every_end = cycle[ends]
    if rules.matching_byte == "dropped":
        ends = ends[~restart[ends]]
    sync_words = writes[1]
    return Framing(
        window,
        match,
        restart,
        cycle[ends],
        window[ends] & np.uint16(0xFF),
        every_end,
        window_after=int(window[-1]) if len(window) else state.window,
        sync_word_after=int(sync_words[-1]) if len(sync_words) else state.sync_word,
        bit_count_after=count,
    )


def counted_ends(
    restart: NDArray[np.bool_], count: int, size: int
) -> tuple[NDArray[np.int64], int]:
    """Return which bits complete a group of `size`, and how many bits of the next one there are.

    `count` bits have been counted before the first; a bit that restarts is counted, and the next
    is the first of a group. `size` is a power of two.
    """
    bits = len(restart)
    if not bits:
        return np.empty(0, np.int64), count
    index = np.arange(bits)
    anchor = np.maximum.accumulate(np.where(restart, index, -1 - count))
    before = np.concatenate(([-1 - count], anchor[:-1]))
    return np.flatnonzero((index - before) & (size - 1) == 0), int(bits - 1 - anchor[-1]) % size


def started_ends(
    bits: NDArray[np.uint8], restart: NDArray[np.bool_], count: int
) -> tuple[NDArray[np.int64], int]:
    """Return the same for bytes that start with a 1: zeros in front of it are not counted."""
    ones, restarts = np.flatnonzero(bits).tolist(), np.flatnonzero(restart).tolist()
    ends: list[int] = []
    first = -count  # of the byte under way
    while True:
        if count == 0:
            one = bisect_left(ones, first)
            if one == len(ones):
                return np.array(ends, np.int64), 0
            first = ones[one]
        last = first + 7
        stop = bisect_left(restarts, max(first, 0))
        restarted = stop < len(restarts) and restarts[stop] <= last
        if not restarted and last >= len(bits):
            return np.array(ends, np.int64), len(bits) - first
        if not restarted or restarts[stop] == last:
            ends.append(last)
        first = restarts[stop] + 1 if restarted else last + 1
        count = 0


def _byte_ends(
    stimulus: Stimulus, restart: NDArray[np.bool_], count: int, top_bit_framing: Lane
) -> tuple[NDArray[np.int64], int]:
    """Return which bits complete a byte, and the count after the last."""
    mode = top_bit_framing
    if len(mode.cycle) == 1 and not mode.value[0]:
        return counted_ends(restart, count, 8)
    found = []
    starts = np.searchsorted(stimulus.bit_cycle, mode.cycle).tolist()
    for first, end, by_ones in zip(
        starts, [*starts[1:], len(restart)], mode.value.tolist(), strict=True
    ):
        part = slice(first, end)
        if by_ones:
            ends, count = started_ends(stimulus.bit[part], restart[part], count)
        else:
            ends, count = counted_ends(restart[part], count, 8)
        found.append(ends + first)
    return np.concatenate(found), count


def sync_word_writes(stimulus: Stimulus, sync_word: int) -> Writes:
    """Return when sync_word is written, and what it holds from then on."""
    cycles, words = [], []
    for cycle, mask, value in stimulus.writes(WRITE_SYNC_WORD):
        sync_word = sync_word & ~mask | value & mask
        cycles.append(cycle)
        words.append(sync_word)
    return np.array(cycles, np.int64), np.array(words, np.uint16)


def _met(
    rules: Rules, writes: Writes, edges: Cycles, sync_word: int
) -> np.uint16 | NDArray[np.uint16]:
    """Return the sync word a bit meets at each edge (policy same_edge_write)."""
    cycle, value = writes
    if not len(cycle):
        return np.uint16(sync_word)
    values = np.concatenate((np.array([sync_word], np.uint16), value))
    side: Literal["left", "right"] = "left" if rules.same_edge_write == "old" else "right"
    return values[np.searchsorted(cycle, edges, side=side)]


def _up(level: Lane, edges: Cycles) -> np.bool_ | NDArray[np.bool_]:
    """Return whether a level is up at each edge."""
    if len(level.cycle) == 1:
        return np.bool_(level.value[0])
    return level.at(edges).astype(bool)


def sync_level(
    rules: Rules, stimulus: Stimulus, writes: Writes, framing: Framing, state: State
) -> Lane:
    """Return the comparator's level through the span (B3): a bit or a rewrite moves it.

    With policy sync_compare=at_bits only a bit does.
    """
    cycle, level = stimulus.bit_cycle, framing.match
    write_cycle, word = writes
    if len(write_cycle) and rules.sync_compare == "always":
        seen = np.concatenate((np.array([state.window], np.uint16), framing.window))
        window = seen[np.searchsorted(stimulus.bit_cycle, write_cycle, side="right")]
        cycle = np.concatenate((cycle, write_cycle))
        level = np.concatenate((level, window == word))
        order = np.argsort(cycle, kind="stable")
        cycle, level = cycle[order], level[order]
    return Lane.of(
        np.concatenate(([stimulus.first], cycle)), np.concatenate(([state.sync_equal], level))
    )
