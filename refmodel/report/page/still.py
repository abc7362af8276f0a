"""The drawing of a run around one cycle, for print, for notebooks, and for pages without script."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from refmodel.block.fields import UNUSED
from refmodel.engine.finding import Finding, Shown
from refmodel.ground.lane import Lane
from refmodel.ground.moves import Moves
from refmodel.report import words
from refmodel.report.drawing.sheet import (
    Drawn,
    Flag,
    Piece,
    Sheet,
    flag_pieces,
    stretches,
    value_pieces,
)
from refmodel.report.page.picture import ORDER, clipped, wrong_lane
from refmodel.report.result import Scope
from refmodel.report.traffic import reads_held, wrong_moves
from refmodel.report.waves import COUNTERS, block_waves, field_width

BITS_BEFORE, BITS_AFTER = 10, 14  # channel bits around the cycle


def flag_of(finding: Finding, scope: Scope) -> Flag:
    """Return the band of a first mismatch, to the end of the stretch it begins, and its words."""
    d, shown = finding.mismatch, finding.shown
    layout = scope.profile.status
    core, model = words.observed_text(d, layout), words.expected_text(d, layout)
    end = d.cycle + 1
    if d.field in shown.observed.lanes and d.through == "status":
        stimulus = shown.stimulus
        lane = wrong_lane(shown, scope, d.field, stimulus.first, stimulus.end)
        here = [stop for start, stop in stretches(lane, d.cycle, stimulus.end) if start == d.cycle]
        end = int(here[0]) if here else end
    return Flag(d.cycle, end, f"≠ {d.field} {core}, model {model}")


def run_sheet(
    shown: Shown, scope: Scope, at: int | None = None, finding: Finding | None = None
) -> Sheet:
    """Return the drawing around a cycle, by default the first mismatch or the first match."""
    at = _place(shown, at, finding)
    bit, stimulus = scope.profile.cycles_per_bit, shown.stimulus
    first = max(stimulus.first, int(at - BITS_BEFORE * bit))
    end = min(stimulus.end, int(at + BITS_AFTER * bit))
    lanes = sorted(_lanes(shown, scope, first, end), key=lambda lane: not lane.wrong)
    flag = flag_of(finding, scope) if finding is not None else None
    label = f"{scope.top} and the model, cycles {first} to {end - 1}"
    label += f": {flag.text} in cycle {at}" if flag else ""
    return Sheet(first, end, tuple(lanes), label, float(scope.profile.cycle_ns), flag, at)


def _place(shown: Shown, at: int | None, finding: Finding | None) -> int:
    if at is None and finding is not None:
        at = finding.mismatch.cycle
    if at is None:
        lane = shown.expected.lanes["sync_equal"]
        rises = lane.cycle[lane.value == 1]
        at = int(rises[0]) if len(rises) else shown.stimulus.first
    return at


def _lanes(shown: Shown, scope: Scope, first: int, end: int) -> Iterator[Drawn]:
    """Yield what changes between two cycles, and what is compared and wrong there."""
    bits = list(_bits(shown, first, end))
    if bits:
        yield Drawn("channel bits", tuple(bits))
    if "window" not in shown.expected.lines:  # else it is compared, and among the lanes below
        yield _window(shown, scope, first, end)
    every = shown.expected.lanes | shown.expected.lines
    for name in (*ORDER, *shown.expected.lines):
        lane = _compared(shown, scope, name, clipped(every[name], first, end), first, end)
        idle = len(lane.pieces) < 2 and (lane.core is None or len(lane.core) < 2)
        if lane.wrong or not (idle or name == UNUSED):
            yield lane
    memory = _memory(shown, first, end)
    if memory.pieces or memory.core:
        yield memory
    yield _reads(shown, scope, first, end)


def _bits(shown: Shown, first: int, end: int) -> Iterator[Piece]:
    stimulus = shown.stimulus
    rows = zip(stimulus.bit_cycle.tolist(), stimulus.bit.tolist(), strict=True)
    near = [(cycle, bit) for cycle, bit in rows if first <= cycle < end]
    stops = [*(cycle for cycle, _ in near[1:]), end][: len(near)]
    for (cycle, bit), stop in zip(near, stops, strict=True):
        yield Piece(cycle, stop, "box", str(bit))


def _window(shown: Shown, scope: Scope, first: int, end: int) -> Drawn:
    waves = block_waves(scope.profile, shown.state, shown.stimulus, first, end)
    window, word = (
        Lane.of(np.array([c for c, _, _ in w.changes]), np.array([v for _, v, _ in w.changes]))
        for w in waves[:2]
    )
    return Drawn("window", value_pieces(window, first, end, 4, int(word.value[-1])))


def _compared(shown: Shown, scope: Scope, name: str, model: Lane, first: int, end: int) -> Drawn:
    """Return a field or output line, with the core's beside it if that is compared."""
    width, observed = field_width(name), shown.observed
    digits = 1 if name in COUNTERS else (width + 3) // 4

    def pieces(lane: Lane) -> tuple[Piece, ...]:
        flag = width == 1
        return flag_pieces(lane, first, end) if flag else value_pieces(lane, first, end, digits)

    if name not in observed.lanes:
        return Drawn(name, pieces(model))
    late = shown.expected.lanes | shown.expected.lines
    model = clipped(late[name].delayed(scope.lags.get(name, 0)), first, end)
    core = clipped(observed.lanes[name], first, end)
    wrong = wrong_lane(shown, scope, name, first, end)
    marked = () if name in scope.waived else stretches(wrong, first, end)
    return Drawn(name, pieces(model), pieces(core), marked)


def _memory(shown: Shown, first: int, end: int) -> Drawn:
    model, core = shown.expected.moves, shown.moves
    if core is None:
        return Drawn("memory", tuple(_moved(model, first, end)))
    wrong = wrong_moves(model, core).tolist()
    marked = tuple((c, c + 1) for c in wrong if first <= c < end)
    expected, observed = (tuple(_moved(moves, first, end)) for moves in (model, core))
    return Drawn("memory", expected, observed, marked)


def _moved(moves: Moves, first: int, end: int) -> Iterator[Piece]:
    for cycle, word in zip(moves.cycle.tolist(), moves.word.tolist(), strict=True):
        if first <= cycle < end:
            yield Piece(cycle, cycle + 1, "mark", f"{word:04X}")


def _reads(shown: Shown, scope: Scope, first: int, end: int) -> Drawn:
    held = reads_held(shown, scope)
    near = np.flatnonzero((held.cycle >= first) & (held.cycle < end)).tolist()
    model, core = (
        tuple(
            Piece(int(held.cycle[n]), int(held.cycle[n]) + 1, "mark", f"{int(side[n]):04X}")
            for n in near
        )
        for side in (held.model, held.core)
    )
    wrong = tuple((int(held.cycle[n]), int(held.cycle[n]) + 1) for n in near if held.wrong[n])
    return Drawn("reads", model, core, wrong)
