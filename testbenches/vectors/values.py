"""What a scenario drives and what a core must show for it, as change lists of whole words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.engine.compare import CHANNEL_BIT
from refmodel.engine.core_separator import STROBE, VALUE, Recovery
from refmodel.engine.evidence import Observed
from refmodel.engine.line_form import as_long_pulses, as_toggles
from refmodel.engine.separator_verdict import DELIVERED
from refmodel.engine.timeline import Expected, Timeline
from refmodel.ground.bus import reads_status
from refmodel.ground.depth import AGAIN
from refmodel.ground.errors import InputError, UserError
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.moves import Moves
from refmodel.ground.stimulus import Stimulus
from testbenches.binding.depth import refuse_words
from testbenches.binding.roles import MOVES
from testbenches.binding.schema import Binding
from testbenches.event_file import read_events
from testbenches.prepared import Preparation, Prepared
from testbenches.recorder import slices_of
from testbenches.separated import recovery_of

Words = NDArray[np.object_]


@dataclass(frozen=True)
class VectorChanges:
    """Words and the cycles they are in force from, the first of them a run's first cycle."""

    cycle: Cycles
    word: Words

    def __len__(self) -> int:
        return len(self.cycle)


@dataclass(frozen=True)
class ReadBack:
    """What each read of status must return on the data port, in cycle order, and its known bits."""

    cycle: Cycles
    value: NDArray[np.int64]
    mask: NDArray[np.int64]


@dataclass(frozen=True)
class Vectors:
    """A run of `cycles` cycles for one core.

    `drive` has the driven inputs by their places in the harness's drive word; what is not in
    `held` of it lasts one cycle. `shown` has what the core shows, `care` the bits of it that count
    from cycle `compared_from` on. `slices` has each lane's lowest bit and mask within `shown`.
    """

    cycles: int
    drive: VectorChanges
    shown: VectorChanges
    care: int
    compared_from: int
    slices: dict[str, tuple[int, int]]
    reads: ReadBack
    moves: Moves | None
    memory: NDArray[np.uint16]
    stimuli: list[Stimulus]
    expected: Expected


def vectors_of(side: Preparation, prepared: Prepared) -> Vectors:
    """Return the vectors of a scenario made ready for a core.

    Raises UserError for a core whose separator equals no model: its bits cannot be known before.
    """
    binding, disk = side.binding, prepared.disk
    stimuli, expected = _whole(side, prepared)
    lags = _lags(binding)
    slices = slices_of(binding, side.profile.status)
    return Vectors(
        disk.cycles,
        _driven(side.events(prepared.index), side.harness.drive.width),
        _shown(expected, lags, slices, binding, disk.resets),
        _care(binding, slices),
        disk.start - 1 + max(lags.values()),
        slices,
        _reads(binding, side, stimuli, expected, disk.start),
        expected.moves if binding.memory is not None and not _waived(binding, MOVES) else None,
        disk.memory,
        stimuli,
        expected,
    )


def _waived(binding: Binding, name: str) -> bool:
    return name in binding.waived_fields


def _lags(binding: Binding) -> dict[str, int]:
    """Return how many cycles each observed lane may come late."""
    lags = {name: binding.lag(name) for name in (*FIELD_NAMES, UNUSED)}
    lags |= {w.lane: binding.latency.get(w.lane, 0) for w in binding.lines_observed}
    return lags | dict.fromkeys((STROBE, VALUE), binding.latency.get(CHANNEL_BIT, 0))


def _care(binding: Binding, slices: dict[str, tuple[int, int]]) -> int:
    """Return the bits of the observed word that are held against the core."""
    waived = binding.waived_fields
    hidden = waived | ({STROBE, VALUE} if CHANNEL_BIT in waived else set())
    return sum(mask << lsb for name, (lsb, mask) in slices.items() if name not in hidden)


def _whole(side: Preparation, prepared: Prepared) -> tuple[list[Stimulus], Expected]:
    """Return the run's stimuli, and what the model shows over all of them."""
    recovery = _claimed(side.binding, side)
    inner = [watched.lane for watched in side.binding.observe.inner()]
    timeline = Timeline(prepared.disk.profile, inner)
    stimuli, parts = [], []
    for stimulus in side.stimuli(prepared):
        seen, delivered = stimulus, None
        if recovery is not None and recovery.claimed is not None:
            delivered = recovery.claimed.lane(stimulus)
            seen, _ = recovery.follow(stimulus, _as_observed(delivered))
        part = timeline.run(seen)
        if delivered is not None:
            part = replace(part, lines={**part.lines, **_as_observed(delivered).lanes})
        stimuli.append(seen)
        parts.append(part)
    return stimuli, _joined(parts)


def _claimed(binding: Binding, side: Preparation) -> Recovery | None:
    """Return what stands for the core's own separator: the model it claims to be equal to."""
    if binding.pulse_cycles is None:
        return None
    if binding.separator.model is None:
        message = "needed for vectors: without it the core's channel bits are not known beforehand"
        raise InputError([binding.document.problem(("separator", "model"), message)])
    if binding.latency.get(CHANNEL_BIT, 0):
        message = "vectors take no latency of channel bits"
        raise InputError([binding.document.problem(("latency", CHANNEL_BIT), message)])
    return recovery_of(binding, side.profile, beside=False)


def _as_observed(delivered: Lane) -> Observed:
    """Return a separator's common lane as the two signals a core has for it."""
    strobe = Lane.of(delivered.cycle, (delivered.value & DELIVERED) // DELIVERED)
    value = Lane.of(delivered.cycle, delivered.value & 1)
    known = {name: Lane.constant(0, int(delivered.cycle[0])) for name in (STROBE, VALUE)}
    return Observed({STROBE: strobe, VALUE: value}, known)


def _joined(parts: list[Expected]) -> Expected:
    """Put the spans of a run together."""

    def joined(lanes: list[dict[str, Lane]]) -> dict[str, Lane]:
        return {
            name: Lane.of(
                np.concatenate([lane[name].cycle for lane in lanes]),
                np.concatenate([lane[name].value for lane in lanes]),
            )
            for name in lanes[0]
        }

    return Expected(
        parts[0].first,
        parts[-1].end,
        joined([part.lanes for part in parts]),
        np.concatenate([part.read_cycle for part in parts]),
        np.concatenate([part.read_value for part in parts]),
        joined([part.lines for part in parts]),
        Moves.joined([part.moves for part in parts]),
    )


def _driven(events: Path, width: int) -> VectorChanges:
    """Return the drive words of a run's event file, `width` bits wide."""
    cycle, words = read_events(events, width)
    return VectorChanges(cycle, words.astype(object))


def _shown(
    expected: Expected,
    lags: dict[str, int],
    slices: dict[str, tuple[int, int]],
    binding: Binding,
    resets: Sequence[tuple[int, int]],
) -> VectorChanges:
    """Return the word a core shows, each lane of it as late as the binding says."""
    lanes = {**expected.lanes, **expected.lines}
    lanes["write_data"] = _as_the_core_has_it(binding, lanes["write_data"], resets)
    late = {name: _late(lanes[name], lags[name]) for name in slices}
    cycle = np.unique(np.concatenate([lane.cycle for lane in late.values()]))
    word = np.zeros(len(cycle), object)  # of any width
    for name, lane in late.items():
        word |= lane.at(cycle).astype(object) << slices[name][0]
    new = np.append(True, word[1:] != word[:-1])
    return VectorChanges(cycle[new], word[new])


def _as_the_core_has_it(binding: Binding, line: Lane, resets: Sequence[tuple[int, int]]) -> Lane:
    """Return write_data as long pulses or a level that changes, if the core has it so."""
    bound = binding.lines.write_data
    if bound is None or (bound.form == "pulse" and bound.cycles == 1):
        return line
    return (
        as_toggles(line, resets) if bound.form == "toggle" else as_long_pulses(line, bound.cycles)
    )


def _late(lane: Lane, lag: int) -> Lane:
    """Return a lane `lag` cycles later; its first value reaches back to where it began."""
    return Lane.constant(int(lane.value[0]), int(lane.cycle[0])).then(lane.delayed(lag))


def _reads(
    binding: Binding,
    side: Preparation,
    stimuli: list[Stimulus],
    expected: Expected,
    start: int,
) -> ReadBack:
    """Return what reads of status must return from the first cycle on that counts."""
    layout, waived = side.profile.status, binding.waived_fields
    cycle, mask = (np.concatenate(rows) for rows in zip(*_status_reads(stimuli), strict=True))
    counts = cycle >= start + max(_lags(binding).values())
    cycle, mask = cycle[counts], mask[counts].astype(np.int64)
    value, known = np.zeros(len(cycle), np.int64), np.zeros(len(cycle), np.int64)
    for name in (*FIELD_NAMES, UNUSED):
        if name not in waived:
            shift = 0 if name == UNUSED else layout[name].lsb
            lane = expected.lanes[name].at(cycle - 1 - binding.lag(name)).astype(np.int64)
            value |= lane << shift
            known |= layout.mask_of(name)
    places = np.where((mask == 0xFF00) & binding.byte_wide, 8, 0)
    return ReadBack(cycle, (value & mask) >> places, (known & mask) >> places)


def _status_reads(stimuli: list[Stimulus]) -> Iterator[tuple[Cycles, NDArray[np.uint16]]]:
    """Yield edges and masks of the reads of status, span by span."""
    for stimulus in stimuli:
        status = reads_status(stimulus.access_kind) & (stimulus.access_mask != AGAIN)
        yield stimulus.access_cycle[status], stimulus.access_mask[status]


def refuse_acknowledge(binding: Binding) -> None:
    """Raise InputError for a core that says itself how long an access takes.

    Likewise for words and clocks no list of what is driven can have.
    """
    refuse_words(binding, "vectors")
    if binding.bus is not None and binding.bus.acknowledge is not None:
        message = "the core says how long an access takes, so no list of what is driven can be made"
        raise InputError([binding.document.problem(("bus", "acknowledge"), f"vectors: {message}")])


def refuse_skipped(prepared: Prepared) -> None:
    """Raise UserError for a scenario the core cannot take part in."""
    if prepared.skipped:
        raise UserError(f"{prepared.path}: cannot be played on this core: {prepared.skipped}")
