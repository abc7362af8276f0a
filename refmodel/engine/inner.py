"""Registers inside the block over a whole span, for cores that show theirs: B2, B3, B4 and B13."""

from __future__ import annotations

from collections.abc import Collection, Iterator

import numpy as np
from numpy.typing import NDArray

from refmodel.block.control import TOP_BIT_FRAMING
from refmodel.block.framing import Framed, shift_in
from refmodel.block.registers import State
from refmodel.block.rules import Rules
from refmodel.engine.control import bit_of
from refmodel.engine.span_framing import SpanFraming
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus

INNER = {"sync_word": 16, "control": 5, "window": 16, "bit_count": 3}  # name: bits, causes first
COUNTERS = {"lost_words": 16, "underruns": 16}  # diagnostic, of words lost and of zeros written
INSIDE = INNER | COUNTERS
BYTE = 8  # channel bits


def inner_state(names: Collection[str], state: State, first: int) -> dict[str, Lane]:
    """Return what the registers hold from cycle `first` on while the block stays in a state."""
    return {name: Lane.constant(getattr(state, name), first) for name in names}


def inner_lanes(
    names: Collection[str], rules: Rules, stimulus: Stimulus, state: State, span: SpanFraming
) -> dict[str, Lane]:
    """Return what some of `INNER` hold through a span that begins in `state`."""
    first, bits, framing = stimulus.first, stimulus.bit_cycle, span.framing
    written, words = span.writes
    lanes = {}
    if "sync_word" in names:
        lanes["sync_word"] = _from(first, state.sync_word, written, words)
    if "control" in names:
        lanes["control"] = span.control
    if "window" in names:
        lanes["window"] = _from(first, state.window, bits, framing.window)
    if "bit_count" in names:
        counts = np.fromiter(_counts(rules, stimulus, state, span), np.int64, len(bits))
        lanes["bit_count"] = _from(first, state.bit_count, bits, counts)
    return lanes


def _from(first: int, before: int, cycle: NDArray[np.int64], value: NDArray[np.integer]) -> Lane:
    """Return the lane that holds `before` from cycle `first` on, then the values."""
    return Lane.of(np.concatenate(([first], cycle)), np.concatenate(([before], value)))


def _counts(rules: Rules, stimulus: Stimulus, state: State, span: SpanFraming) -> Iterator[int]:
    """Yield how many bits of a byte there are after each channel bit."""
    mode = bit_of(span.met, TOP_BIT_FRAMING)
    restart, bit = span.framing.restart, stimulus.bit
    starts = np.searchsorted(stimulus.bit_cycle, mode.cycle).tolist()
    count = state.bit_count
    for begin, end, by_ones in zip(
        starts, [*starts[1:], len(bit)], mode.value.tolist(), strict=True
    ):
        part = slice(begin, end)
        counts = (
            _after_top_bits(rules, bit[part].tolist(), restart[part].tolist(), count)
            if by_ones
            else _after_bits(restart[part], count).tolist()
        )
        yield from counts
        count = counts[-1] if counts else count


def _after_bits(restart: NDArray[np.bool_], count: int) -> NDArray[np.int64]:
    """Return the counts where each bit counts, and one that restarts makes the count 0."""
    index = np.arange(len(restart))
    last = np.maximum.accumulate(np.where(restart, index, -1 - count))
    counts: NDArray[np.int64] = (index - last) % BYTE
    return counts


def _after_top_bits(rules: Rules, bits: list[int], restart: list[bool], count: int) -> list[int]:
    """Return the counts where a byte begins with a 1: zeros in front of it do not count."""
    counts = []
    for bit, restarts in zip(bits, restart, strict=True):
        match = 0 if restarts else 1  # a sync word that the window equals, or one it does not
        framed = shift_in(rules, Framed(0, count, 0), bit, bit ^ match, int(restarts), 1)
        count = framed.bit_count
        counts.append(count)
    return counts
