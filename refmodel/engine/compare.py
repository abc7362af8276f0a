"""Comparison of a core's recorded changes with the timeline, over a whole span at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refmodel.block.fields import STATUS_FIELDS, UNUSED, Layout
from refmodel.engine.timeline import LINES, Expected
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.moves import Moves

CHANNEL_BIT = "channel_bit"  # what a core's own separator delivers
MEMORY = "memory"  # where the words moved to and from memory are named like a field
Moved = tuple[Moves, NDArray[np.int64]]  # and the X and Z bits of each word


@dataclass(frozen=True)
class Observed:
    """A core's recorded lanes, each in the form of the model's; `unknown` has its X and Z bits."""

    lanes: dict[str, Lane]
    unknown: dict[str, Lane]


@dataclass(frozen=True)
class Reads:
    """Bus reads of status: at edge `cycle`, register bits `mask`, `value` as the core returned it.

    `unknown` has the X and Z bits of the value.
    """

    cycle: Cycles
    mask: NDArray[np.uint16]
    value: NDArray[np.uint16]
    unknown: NDArray[np.uint16]

    def since(self, cycle: int) -> Reads:
        """Return the reads from edge `cycle` on."""
        at = int(np.searchsorted(self.cycle, cycle))
        return Reads(self.cycle[at:], self.mask[at:], self.value[at:], self.unknown[at:])


@dataclass(frozen=True)
class Mismatch:
    """One place where core and model part. `lag` is the field's constant latency in cycles.

    `cycle` is the core's; the model showed `expected` in cycle `cycle - lag`. `through` is
    `status` for the register itself and `read` for a bus read at edge `cycle`. `unknown` has the
    observed bits that were X or Z: a mismatch of its own kind (B14). `through` is `slot` for a word
    moved to or from memory.
    """

    cycle: int
    field: str
    expected: int
    observed: int
    unknown: int
    lag: int
    through: str = "status"


def first_mismatch(
    field: str, expected: Lane, observed: Lane, unknown: Lane, lag: int, first: int, end: int
) -> Mismatch | None:
    """Return the first cycle in `first` .. `end - 1` in which the field differs from the model."""
    model = expected.delayed(lag)
    cycles = np.unique(np.concatenate(([first], model.cycle, observed.cycle, unknown.cycle)))
    cycles = cycles[(cycles >= first) & (cycles < end)]
    wanted, shown, vague = model.at(cycles), observed.at(cycles), unknown.at(cycles)
    wrong = np.flatnonzero((wanted != shown) | (vague != 0))
    if not len(wrong):
        return None
    at = int(wrong[0])
    return Mismatch(int(cycles[at]), field, int(wanted[at]), int(shown[at]), int(vague[at]), lag)


def differences(model: Lane, core: Lane, unknown: Lane, since: int) -> Lane:
    """Return 1 where two lanes differ or the core's value has unknown bits, else 0.

    Before cycle `since` it is 0.
    """
    cycles = np.union1d(np.union1d(model.cycle, core.cycle), np.append(unknown.cycle, since))
    cycles = cycles[cycles >= model.cycle[0]]
    wrong = (model.at(cycles) != core.at(cycles)) | (unknown.at(cycles) != 0)
    return Lane.of(cycles, wrong & (cycles >= since))


def first_read_mismatch(
    lanes: dict[str, Lane], reads: Reads, layout: Layout, lags: dict[str, int]
) -> Mismatch | None:
    """Return the first read that returned something other than status in the cycle before it.

    `lanes` are the model's, `lags` names the fields to compare and their latency.
    """
    found = []
    for field, lag in lags.items():
        mask = layout.mask_of(field)
        shift = 0 if field == UNUSED else layout[field].lsb
        wanted = (lanes[field].at(reads.cycle - 1 - lag) << np.uint32(shift)) & mask & reads.mask
        shown = reads.value & mask & reads.mask
        vague = reads.unknown & mask & reads.mask
        wrong = np.flatnonzero((wanted != shown) | (vague != 0))
        if len(wrong):
            at = int(wrong[0])
            want, show, vague_bits = (int(v[at]) >> shift for v in (wanted, shown, vague))
            cycle = int(reads.cycle[at])
            found.append(Mismatch(cycle, field, want, show, vague_bits, lag, "read"))
    return min(found, key=lambda d: d.cycle, default=None)


def first_move_mismatch(expected: Moves, moved: Moved) -> Mismatch | None:
    """Return the first word that was not moved as the model moves it: cycle, place, word, way.

    A word only one of the two moves counts as word 0 moved by the other.
    """
    moves, unknown = moved
    both = min(len(expected), len(moves))
    wrong = unknown[:both] != 0
    for name in ("cycle", "place", "word", "store"):
        wrong = wrong | (getattr(expected, name)[:both] != getattr(moves, name)[:both])
    if both == max(len(expected), len(moves)) and not wrong.any():
        return None
    at = int(np.flatnonzero(wrong)[0]) if wrong.any() else both
    cycles = [int(m.cycle[at]) for m in (expected, moves) if at < len(m)]
    cycle = min(cycles)
    wanted, shown = (
        int(m.word[at]) if at < len(m) and int(m.cycle[at]) == cycle else 0
        for m in (expected, moves)
    )
    vague = int(unknown[at]) if at < len(moves) and int(moves.cycle[at]) == cycle else 0
    return Mismatch(cycle, MEMORY, wanted, shown, vague, 0, "slot")


class Checker:
    """Compares a core with the model, span after span, and counts what it compared.

    `lags` has the compared fields of status and their latency in cycles, `lines` the same of the
    output lines. Nothing before cycle `start` counts: the core may show anything until its reset
    is done.
    """

    def __init__(
        self, layout: Layout, lags: dict[str, int], start: int, lines: dict[str, int] | None = None
    ) -> None:
        self._layout = layout
        self._lags = {**lags, **(lines or {})}
        self._reads = lags
        self.start = start + max(self._lags.values(), default=0)
        self._recent: dict[str, Lane] = {}
        self.cycles_compared = 0
        self.reads_compared = 0
        self.moves_compared = 0

    def check(
        self, expected: Expected, observed: Observed, reads: Reads, moved: Moved | None = None
    ) -> Mismatch | None:
        """Compare one span; return the earliest mismatch in it.

        `moved` is what the core moved to and from memory, if its slots are bound.
        """
        lanes = {
            name: self._recent[name].then(lane) if self._recent else lane
            for name, lane in (expected.lanes | expected.lines).items()
        }
        first, end = max(expected.first, self.start), expected.end
        found = [
            first_mismatch(
                field, lanes[field], lane, observed.unknown[field], self._lags[field], first, end
            )
            for field, lane in observed.lanes.items()
            if field in self._lags
        ]
        if found:
            self.cycles_compared += max(0, end - first)
        reads = reads.since(self.start + 1)  # what a read returns, status showed the cycle before
        found.append(first_read_mismatch(lanes, reads, self._layout, self._reads))
        self.reads_compared += len(reads.cycle)
        if moved is not None:
            found.append(first_move_mismatch(expected.moves, moved))
            self.moves_compared += len(expected.moves)
        keep = end - 2 - max(self._lags.values())
        self._recent = {
            name: lane.between(max(keep, int(lane.cycle[0])), end) for name, lane in lanes.items()
        }
        return min((d for d in found if d), key=_order, default=None)


def _order(mismatch: Mismatch) -> tuple[int, bool, int]:
    """Sort by cycle; in one cycle the register before a read of it, then as in the field table."""
    names = [CHANNEL_BIT, *(field.name for field in STATUS_FIELDS), UNUSED, *LINES, MEMORY]
    return mismatch.cycle, mismatch.through == "read", names.index(mismatch.field)
