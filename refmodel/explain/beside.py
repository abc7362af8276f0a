"""The core's record beside the model: where they differ, cycle by cycle."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from refmodel.engine.compare import differences
from refmodel.ground.lane import Lane
from refmodel.report import words
from refmodel.report.kept import Kept
from refmodel.report.traffic import reads_held, wrong_moves
from refmodel.report.waves import Wave, changes_of, field_width

UNKNOWN = -1  # in place of a value with X or Z bits


def notes(core: Kept, first: int, end: int) -> dict[int, str]:
    """Return what the core does otherwise than the model in cycles `first` .. `end - 1`."""
    stimulus = core.shown.stimulus
    first, end = max(first, stimulus.first), min(end, stimulus.end)
    said: dict[int, list[str]] = {}
    for cycle, text in (
        *(note for name in core.shown.observed.lanes for note in _lane(core, name, first, end)),
        *_reads(core, first, end),
        *_moves(core, first, end),
    ):
        said.setdefault(cycle, []).append(text)
    return {cycle: f"core: {'; '.join(texts)}" for cycle, texts in sorted(said.items())}


def core_waves(core: Kept, first: int, end: int) -> Iterator[Wave]:
    """Yield the core's lanes in some cycles of those kept."""
    observed = core.shown.observed
    for name, lane in observed.lanes.items():
        changes = changes_of(lane, observed.unknown[name], first, end)
        yield Wave("core", name, field_width(name), changes)


def core_values(core: Kept, cycle: int) -> dict[str, int]:
    """Return what each lane of the core shows in a cycle; `UNKNOWN` with X or Z bits."""
    observed = core.shown.observed
    return {
        name: UNKNOWN if observed.unknown[name].at(cycle) else int(lane.at(cycle))
        for name, lane in observed.lanes.items()
    }


def _lane(core: Kept, name: str, first: int, end: int) -> Iterator[tuple[int, str]]:
    """Yield where a lane begins to differ, differs in another way, or agrees again."""
    shown, lag = core.shown, core.scope.lags.get(name, 0)
    every = shown.expected.lanes | shown.expected.lines
    lane, unknown = shown.observed.lanes[name], shown.observed.unknown[name]
    if name not in every or first >= end:
        return
    since, resets = (
        max(shown.compared_from, shown.stimulus.first + lag),
        shown.stimulus.reset_begins,
    )
    wrong = _from(differences(every[name], lane, unknown, since, lag, resets), shown.stimulus.first)
    model = every[name].delayed(lag)
    cycles = np.unique(np.concatenate(([first], wrong.cycle, lane.cycle, model.cycle)))
    layout, before = core.scope.profile.status, False
    for cycle in cycles[(cycles >= first) & (cycles < end)].tolist():
        if wrong.at(cycle):
            value, x_bits = int(lane.at(cycle)), int(unknown.at(cycle))
            is_ = words.value_text(name, value, x_bits, layout)
            waived = ", waived" * (name in core.scope.waived)
            yield cycle, f"{name} {is_}{waived}"
        elif before:
            yield cycle, f"{name} agrees again"
        before = bool(wrong.at(cycle))


def _from(lane: Lane, first: int) -> Lane:
    """Return a lane that begins by cycle `first`, there with its first value if it is late."""
    if int(lane.cycle[0]) <= first:
        return lane
    return Lane.of(np.concatenate(([first], lane.cycle)), np.append(lane.value[:1], lane.value))


def _reads(core: Kept, first: int, end: int) -> Iterator[tuple[int, str]]:
    """Yield the reads that return something else than the model's."""
    held, reads = reads_held(core.shown, core.scope), core.shown.reads
    for n in np.flatnonzero(held.wrong).tolist():
        cycle, core_word, model = (int(row[n]) for row in (held.cycle, held.core, held.model))
        if first <= cycle < end:
            returned = "unknown bits" if reads.unknown[n] else f"0x{core_word:04X}"
            yield cycle, f"the read returns {returned}, the model 0x{model:04X}"


def _moves(core: Kept, first: int, end: int) -> Iterator[tuple[int, str]]:
    """Yield the words that only one of the two moves to or from memory."""
    moves, model = core.shown.moves, core.shown.expected.moves
    if moves is None:
        return
    wrong = wrong_moves(model, moves)
    for who, side in (("moves", moves), ("does not move", model)):
        for n in np.flatnonzero(np.isin(side.cycle, wrong)).tolist():
            cycle, place = int(side.cycle[n]), int(side.place[n])
            if first <= cycle < end:
                way = "to" if side.store[n] else "from"
                yield cycle, f"{who} 0x{int(side.word[n]):04X} {way} memory at {place}"
