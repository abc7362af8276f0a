"""What a core did beside its lanes, held to the model: reads of status, words moved, pulses."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refmodel.block.fields import FIELD_NAMES, UNUSED, Layout
from refmodel.engine.finding import Shown
from refmodel.engine.late import may_show
from refmodel.ground.lane import Cycles
from refmodel.ground.moves import Moves
from refmodel.report.result import Scope

Numbers = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class ReadsHeld:
    """Reads of status at edges `cycle`: both words, of the bits that were read, and which differ.

    `wrong` is true where a compared bit of the core's word is not the model's or is unknown.
    """

    cycle: Cycles
    model: Numbers
    core: Numbers
    wrong: NDArray[np.bool_]


def reads_held(shown: Shown, scope: Scope) -> ReadsHeld:
    """Return the reads of a span, each field as late as it may be."""
    reads, layout = shown.reads, scope.profile.status
    lags = {n: lag for n, lag in scope.lags.items() if n in (*FIELD_NAMES, UNUSED)}
    mask = reads.mask.astype(np.int64)
    compared = np.zeros(len(reads.cycle), np.int64)
    for name, lag in lags.items():
        if name not in scope.waived:
            begun = reads.cycle > max(shown.compared_from, shown.expected.first) + lag
            compared |= np.where(begun, layout.mask_of(name), 0)
    undecided = 0 if reads.undecided is None else reads.undecided.astype(np.int64)
    compared &= mask & ~undecided
    model = expected_words(shown, scope, reads.cycle) & mask
    core = reads.value.astype(np.int64) & mask
    unknown = reads.unknown.astype(np.int64)
    wrong = (((model ^ core) & ~_cleared(shown, layout, lags, core)) | unknown) & compared != 0
    return ReadsHeld(reads.cycle, model, core, wrong)


def _cleared(shown: Shown, layout: Layout, lags: Mapping[str, int], core: Numbers) -> Numbers:
    """Return the bits of fields that are read as a reset that begins may leave them at once."""
    resets, cycles = shown.stimulus.reset_begins, shown.reads.cycle
    bits = np.zeros(len(cycles), np.int64)
    for name in lags if resets else ():
        mask, lsb = layout.mask_of(name), 0 if name == UNUSED else layout[name].lsb
        cleared = may_show(shown.expected.lanes[name], lags[name], resets).cleared
        value = cleared.at(np.maximum(cycles - 1, cleared.cycle[0])).astype(np.int64) << lsb
        bits |= np.where((value ^ core) & shown.reads.mask & mask == 0, mask, 0)
    return bits


def expected_words(shown: Shown, scope: Scope, cycles: Cycles) -> Numbers:
    """Return status as reads at these edges must return it, each field as late as it may be."""
    words = np.zeros(len(cycles), np.int64)
    for field in scope.profile.status.fields:
        lane = shown.expected.lanes[field.name]
        at = np.maximum(cycles - 1 - scope.lags.get(field.name, 0), lane.cycle[0])
        words |= lane.at(at).astype(np.int64) << field.lsb
    return words


def wrong_moves(model: Moves, core: Moves) -> Cycles:
    """Return the edges at which only one of the two moves a word, or another word or place."""
    cycles = sorted({row[0] for row in _rows(model) ^ _rows(core)})
    return np.array(cycles, np.int64)


def _rows(moves: Moves) -> set[tuple[int, ...]]:
    """Return cycle, place, word and way of each move."""
    columns = (moves.cycle, moves.place, moves.word, moves.store)
    return set(zip(*(column.tolist() for column in columns), strict=True))


def phase_errors(shown: Shown) -> tuple[Cycles, NDArray[np.float64]]:
    """Return the edge of each pulse, and how many cycles after the middle of its window it came.

    The windows are those of the separator model where one made the channel bits, else they end
    where the core delivers a bit, less the delay of most pulses: a core answers some edges after
    its pin. A pulse outside of all windows has none and is left out.
    """
    stimulus, bits = shown.stimulus, shown.stimulus.separated
    pulses = stimulus.pulses.cycle
    if bits is not None:
        inside = (bits.bit == 1) & (bits.cycle >= stimulus.first) & (bits.cycle < stimulus.end)
        return bits.cycle[inside], bits.phase[inside] / bits.one
    ends = stimulus.bit_cycle
    after = np.searchsorted(ends, pulses, side="right")
    kept = (after > 0) & (after < len(ends))
    pulses, after = pulses[kept], after[kept]
    error = pulses - (ends[after] + ends[after - 1]) / 2
    return pulses, error - (np.median(error) if len(error) else 0)
