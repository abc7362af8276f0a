"""The waves around a run's first mismatch: model, core and mismatch, beside disk and host."""

from __future__ import annotations

from collections.abc import Iterator
from typing import IO

from refmodel.block.fields import STATUS_WIDTH
from refmodel.engine.compare import differences
from refmodel.engine.evidence import Reads
from refmodel.engine.finding import Finding, Shown
from refmodel.report.result import Scope
from refmodel.report.traffic import reads_held, wrong_moves
from refmodel.report.waves import (
    Change,
    Wave,
    block_waves,
    changes_of,
    field_width,
    move_waves,
    pulses,
    status_waves,
    stimulus_waves,
    write_vcd,
)

BITS_BEFORE, BITS_AFTER = 48, 24  # channel bits


def write_mismatch(file: IO[str], finding: Finding, scope: Scope) -> None:
    """Write the VCD of a mismatch.

    `model` is what status must show, `core` what it showed; `mismatch` is 1 where the two differ
    by more than the latency the binding allows, or the core's value is unknown. The window ends
    where the revolution of the mismatch does.
    """
    first, end = _window(finding, scope)
    write_vcd(file, scope.profile, list(_waves(finding.shown, scope, first, end)), first, end)


def _window(finding: Finding, scope: Scope) -> tuple[int, int]:
    """Return the first cycle to show and the one after the last."""
    cycle, bit = finding.mismatch.cycle, scope.profile.cycles_per_bit
    first = max(finding.shown.stimulus.first, int(cycle - BITS_BEFORE * bit))
    return first, min(finding.shown.stimulus.end, int(cycle + BITS_AFTER * bit) + 1)


def _waves(shown: Shown, scope: Scope, first: int, end: int) -> Iterator[Wave]:
    yield from stimulus_waves(shown.stimulus, first, end)
    yield from block_waves(scope.profile, shown.state, shown.stimulus, first, end)
    yield from status_waves("model", shown.expected.lanes | shown.expected.lines, first, end)
    yield from move_waves("model.memory", shown.expected.moves, first, end)
    yield from shown_waves(shown, scope, first, end)


def shown_waves(shown: Shown, scope: Scope, first: int, end: int) -> Iterator[Wave]:
    """Yield what a core showed, returned and moved in some cycles, and where that is wrong."""
    observed, model_lanes = shown.observed, shown.expected.lanes | shown.expected.lines
    yield Wave("host", "returned", STATUS_WIDTH, list(_returned(shown.reads, first, end)))
    if shown.moves is not None:
        yield from move_waves("core.memory", shown.moves, first, end)
        cycles = wrong_moves(shown.expected.moves, shown.moves)
        yield pulses("mismatch", "memory", cycles, first, end)
    for name, lane in observed.lanes.items():
        unknown = observed.unknown[name]
        yield Wave("core", name, field_width(name), changes_of(lane, unknown, first, end))
        model, lag, resets = model_lanes[name], scope.lags[name], shown.stimulus.reset_begins
        wrong = differences(model, lane, unknown, first, lag, resets)
        yield Wave("mismatch", name, 1, changes_of(wrong, None, first, end))
    yield Wave("mismatch", "read", 1, list(_wrong_reads(shown, scope, first, end)))


def _returned(reads: Reads, first: int, end: int) -> Iterator[Change]:
    """Yield what the reads of status returned, on their edges."""
    rows = zip(reads.cycle.tolist(), reads.value.tolist(), reads.unknown.tolist(), strict=True)
    yield from (row for row in rows if first <= row[0] < end)


def _wrong_reads(shown: Shown, scope: Scope, first: int, end: int) -> Iterator[Change]:
    """Yield 1 for each read that returned something else than the model, 0 after it."""
    held, levels = reads_held(shown, scope), {first: 0}
    for cycle in held.cycle[held.wrong].tolist():
        if first <= cycle < end:
            levels |= {cycle: 1, cycle + 1: 0}
    yield from ((cycle, level, 0) for cycle, level in sorted(levels.items()))
