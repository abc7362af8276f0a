"""Window, comparator and byte framing of a whole span at once: clauses B2, B3 and B4."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refmodel.block.registers import State
from refmodel.engine.lane import Cycles, Lane
from refmodel.engine.stimulus import Stimulus
from refmodel.host.bus import WRITE_SYNC_WORD

Writes = tuple[Cycles, NDArray[np.uint16]]


@dataclass(frozen=True)
class Framing:
    """What the channel bits of a span make of the window and the byte counter.

    `window[i]` and `match[i]` are as they stand after channel bit i; `byte[j]` completes on the
    edge `byte_cycle[j]`.
    """

    window: NDArray[np.uint16]
    match: NDArray[np.bool_]
    byte_cycle: Cycles
    byte: NDArray[np.uint16]
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


def frame(stimulus: Stimulus, writes: Writes, state: State, realign: str) -> Framing:
    """Frame the span's channel bits into bytes (B4), starting from `state`."""
    window = windows(stimulus.bit, state.window)
    match = window == _in_force(writes, stimulus.bit_cycle, state.sync_word)
    restart = match & _realigning(stimulus, realign)
    index = np.arange(len(window))
    anchor = np.maximum.accumulate(np.where(restart, index, -1 - state.bit_count))
    before = np.concatenate(([-1 - state.bit_count], anchor[:-1]))
    done = np.flatnonzero((index - before) % 8 == 0)
    sync_words = writes[1]
    count = int(len(window) - 1 - anchor[-1]) % 8 if len(window) else state.bit_count
    return Framing(
        window,
        match,
        stimulus.bit_cycle[done],
        window[done] & np.uint16(0xFF),
        window_after=int(window[-1]) if len(window) else state.window,
        sync_word_after=int(sync_words[-1]) if len(sync_words) else state.sync_word,
        bit_count_after=count,
    )


def sync_word_writes(stimulus: Stimulus, sync_word: int) -> Writes:
    """Return when sync_word is written, and what it holds from then on."""
    written = np.flatnonzero(stimulus.access_kind == WRITE_SYNC_WORD)
    words = []
    for mask, value in zip(
        stimulus.access_mask[written].tolist(), stimulus.access_value[written].tolist(), strict=True
    ):
        sync_word = sync_word & ~mask | value & mask
        words.append(sync_word)
    return stimulus.access_cycle[written], np.array(words, np.uint16)


def _in_force(writes: Writes, edges: Cycles, sync_word: int) -> np.uint16 | NDArray[np.uint16]:
    """Return the sync word at each edge; a write on the same edge lands first."""
    cycle, value = writes
    if not len(cycle):
        return np.uint16(sync_word)
    values = np.concatenate((np.array([sync_word], np.uint16), value))
    return values[np.searchsorted(cycle, edges, side="right")]


def _realigning(stimulus: Stimulus, realign: str) -> NDArray[np.bool_] | np.bool_:
    """Return, for each channel bit, whether a match would restart the count."""
    if realign != "when_waiting":
        return np.bool_(realign == "always")
    lane = stimulus.levels.get("wait_for_sync")
    if lane is None:
        return np.bool_(False)
    if len(lane.cycle) == 1:
        return np.bool_(lane.value[0])
    return lane.at(stimulus.bit_cycle).astype(bool)


def sync_level(stimulus: Stimulus, writes: Writes, framing: Framing, state: State) -> Lane:
    """Return the comparator's level through the span (B3): a bit or a rewrite moves it."""
    cycle, level = stimulus.bit_cycle, framing.match
    write_cycle, word = writes
    if len(write_cycle):
        seen = np.concatenate((np.array([state.window], np.uint16), framing.window))
        window = seen[np.searchsorted(stimulus.bit_cycle, write_cycle, side="right")]
        cycle = np.concatenate((cycle, write_cycle))
        level = np.concatenate((level, window == word))
        order = np.argsort(cycle, kind="stable")
        cycle, level = cycle[order], level[order]
    return Lane.of(
        np.concatenate(([stimulus.first], cycle)), np.concatenate(([state.sync_equal], level))
    )
