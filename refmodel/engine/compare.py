"""Evidence compared with the timeline, over a whole span at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from refmodel.block.fields import STATUS_FIELDS, UNUSED, Layout
from refmodel.engine.evidence import ALL_BITS, Moved, Observed, Reads
from refmodel.engine.inner import INNER
from refmodel.engine.late import may_show
from refmodel.engine.timeline import LINES, Expected
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.moves import Moves

CHANNEL_BIT = "channel_bit"  # what a core's own separator delivers
MEMORY = "memory"  # where the words moved to and from memory are named like a field


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
    field: str,
    expected: Lane,
    observed: Lane,
    unknown: Lane,
    lag: int,
    first: int,
    end: int,
    undecided: Lane | None = None,
    resets: Sequence[int] = (),
) -> Mismatch | None:
    """Return the first cycle in `first` .. `end - 1` in which the field differs from the model.

    `resets` has the edges at which a reset begins: a late field may show its reset value at once.
    """
    model = may_show(expected, lag, resets)
    lanes = [observed, unknown] + ([] if undecided is None else [undecided])
    cycles = np.unique(np.concatenate(([first], model.cycle, *(lane.cycle for lane in lanes))))
    cycles = cycles[(cycles >= first) & (cycles < end)]
    wanted, shown, x_bits = (lane.at(cycles) for lane in (model.late, observed, unknown))
    counted = np.full(1, ALL_BITS, np.uint32) if undecided is None else ~undecided.at(cycles)
    different = model.apart(cycles, shown, x_bits, counted)
    wrong = np.flatnonzero(different)
    if not len(wrong):
        return None
    at = int(wrong[0])
    return Mismatch(int(cycles[at]), field, int(wanted[at]), int(shown[at]), int(x_bits[at]), lag)


def differences(
    model: Lane,
    core: Lane,
    unknown: Lane,
    since: int,
    lag: int = 0,
    resets: Sequence[int] = (),
) -> Lane:
    """Return 1 where the core's lane differs from the model's or has unknown bits, else 0.

    The core may be `lag` cycles late, and clear what is late when one of the `resets` begins.
    Before cycle `since` it is 0.
    """
    may = may_show(model, lag, resets)
    cycles = np.union1d(np.union1d(may.cycle, core.cycle), np.append(unknown.cycle, since))
    cycles = cycles[cycles >= may.late.cycle[0]]
    counted = np.full(1, ALL_BITS, np.uint32)
    apart = may.apart(cycles, core.at(cycles), unknown.at(cycles), counted)
    return Lane.of(cycles, (apart != 0) & (cycles >= since))


def first_read_mismatch(
    lanes: dict[str, Lane],
    reads: Reads,
    layout: Layout,
    lags: dict[str, int],
    resets: Sequence[int] = (),
) -> Mismatch | None:
    """Return the first read that returned something other than status in the cycle before it.

    `lanes` are the model's, `lags` names the fields to compare and their latency; `resets` has the
    edges at which a reset begins.
    """
    found = []
    for field, lag in lags.items():
        mask = layout.mask_of(field)
        shift = 0 if field == UNUSED else layout[field].lsb
        decided = mask & reads.decided
        wanted, cleared = (
            (lane.at(reads.cycle - 1) << np.uint32(shift)) & decided
            for lane in may_show(lanes[field], lag, resets)
        )
        shown, x_bits = reads.value & decided, reads.unknown & decided
        apart = (wanted != shown) & (cleared != shown)
        wrong = np.flatnonzero(apart | (x_bits != 0))
        if len(wrong):
            at = int(wrong[0])
            want, show, x_of_field = (int(v[at]) >> shift for v in (wanted, shown, x_bits))
            cycle = int(reads.cycle[at])
            found.append(Mismatch(cycle, field, want, show, x_of_field, lag, "read"))
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
    x_bits = int(unknown[at]) if at < len(moves) and int(moves.cycle[at]) == cycle else 0
    return Mismatch(cycle, MEMORY, wanted, shown, x_bits, 0, "slot")


@dataclass
class Compared:
    """How far one field was held to the model: in `cycles` it was decided, `changes` it made there.

    `reads` counts the reads of status that returned it, `read_changes` how often they returned
    another value than the one before. `shortest` is the least time between two changes, in cycles.
    """

    cycles: int = 0
    changes: int = 0
    reads: int = 0
    read_changes: int = 0
    shortest: int | None = None

    def __add__(self, other: Compared) -> Compared:
        """Return how far a field was held to the model in two runs together."""
        return Compared(
            self.cycles + other.cycles,
            self.changes + other.changes,
            self.reads + other.reads,
            self.read_changes + other.read_changes,
            min(filter(None, (self.shortest, other.shortest)), default=None),
        )

    def saw(self, changes: Cycles) -> None:
        """Note the cycles in which the field changed in a span."""
        self.changes += len(changes)
        if len(changes) > 1:
            least = int(np.diff(changes).min())
            self.shortest = least if self.shortest is None else min(self.shortest, least)


class SpanChecker:
    """Compares evidence with the model, span after span, and counts what it compared.

    `lags` has the compared fields of status and their latency in cycles, `lines` the same of the
    output lines. Nothing before cycle `start` counts, for each field its latency later: the core
    may show anything until its reset is done.
    """

    def __init__(
        self, layout: Layout, lags: dict[str, int], start: int, lines: dict[str, int] | None = None
    ) -> None:
        self._layout = layout
        self._lags = {**lags, **(lines or {})}
        self._reads = lags
        self.start = start
        self._recent: dict[str, Lane] = {}
        self._resets: list[int] = []
        self.fields = {name: Compared() for name in self._lags}
        self.reads_compared = 0
        self.moves_compared = 0

    @property
    def cycles_compared(self) -> int:
        """Cycles in which at least one field was held to the model."""
        return max((field.cycles for field in self.fields.values()), default=0)

    def check(
        self,
        expected: Expected,
        observed: Observed,
        reads: Reads,
        moved: Moved | None = None,
        resets: Sequence[int] = (),
    ) -> Mismatch | None:
        """Compare one span; return the earliest mismatch in it.

        `moved` is what the core moved to and from memory, if its slots are bound; `resets` has the
        edges of the span at which a reset begins.
        """
        self._resets += resets
        lanes = {
            name: self._recent[name].then(lane) if self._recent else lane
            for name, lane in (expected.lanes | expected.lines).items()
        }
        found = [
            self._check_field(name, lanes[name], observed, expected)
            for name in observed.lanes
            if name in self._lags
        ]
        found.append(self._check_reads(lanes, reads))
        if moved is not None:
            found.append(first_move_mismatch(expected.moves, moved))
            self.moves_compared += len(expected.moves)
        keep = expected.end - 2 - max(self._lags.values(), default=0)
        self._resets = [begin for begin in self._resets if begin >= keep]
        self._recent = {
            name: lane.between(max(keep, int(lane.cycle[0])), expected.end)
            for name, lane in lanes.items()
        }
        return min((d for d in found if d), key=_order, default=None)

    def _check_field(
        self, name: str, model: Lane, observed: Observed, expected: Expected
    ) -> Mismatch | None:
        """Compare one lane over the span, and count how far it was decided."""
        lag, end = self._lags[name], expected.end
        first = max(expected.first, self.start + lag)
        undecided = observed.undecided.get(name)
        counted = self.fields[name]
        counted.cycles += max(0, end - first) - _cycles_undecided(undecided, first, end)
        counted.saw(model.cycle[(model.cycle + lag > first) & (model.cycle < end)])
        return first_mismatch(
            name,
            model,
            observed.lanes[name],
            observed.unknown[name],
            lag,
            first,
            end,
            undecided,
            self._resets,
        )

    def _check_reads(self, lanes: dict[str, Lane], reads: Reads) -> Mismatch | None:
        """Compare what the reads of the span returned: what status showed the cycle before."""
        found = []
        for name, lag in self._reads.items():
            mine = reads.since(self.start + lag + 1)
            mask = self._layout.mask_of(name)
            returned = mine.part(np.flatnonzero(mine.decided & mask))
            self.fields[name].reads += len(returned.cycle)
            values = lanes[name].at(returned.cycle - 1 - lag)
            self.fields[name].read_changes += int(np.count_nonzero(values[1:] != values[:-1]))
            found.append(first_read_mismatch(lanes, mine, self._layout, {name: lag}, self._resets))
        least = min(self._reads.values(), default=0)
        self.reads_compared += len(reads.since(self.start + least + 1).cycle)
        return min((d for d in found if d), key=_order, default=None)


def _cycles_undecided(undecided: Lane | None, first: int, end: int) -> int:
    """Return in how many cycles of the span nothing of a lane is decided."""
    if undecided is None or end <= first:
        return 0
    part = undecided.between(first, end)
    whole = np.flatnonzero(part.value == np.uint32(ALL_BITS))
    return int(np.append(part.cycle, end)[whole + 1].sum() - part.cycle[whole].sum())


def _order(mismatch: Mismatch) -> tuple[int, bool, int]:
    """Sort by cycle; in one cycle a register before a read of it, what is inside comes first."""
    names = [CHANNEL_BIT, *INNER, *(field.name for field in STATUS_FIELDS), UNUSED, *LINES, MEMORY]
    return mismatch.cycle, mismatch.through == "read", names.index(mismatch.field)
