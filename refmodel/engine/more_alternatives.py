"""What else is commonly wrong: depths, wires of the bus, lanes the other way round."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

import numpy as np

from refmodel.block.fields import FIELD_NAMES
from refmodel.engine.evidence import Observed, Words
from refmodel.engine.finding import Finding
from refmodel.engine.trial import Trial
from refmodel.ground.bus import READ_STATUS, READ_STATUS_PART, reads
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.word import WORD

DEEPER = (1, 2)  # registers more on the way to the block
EXCHANGED = ("write_gate", "write_data", "sync_found", "transfer_done")
LEVELS = ("dma_active", "writing", "wait_for_sync")


def depths(plain: Trial) -> Iterator[Trial]:
    """Yield what a core gets that has registers on the way which the binding does not tell of."""
    stimulus = plain.stimulus
    for late in DEEPER:
        bits = _inside(stimulus.bit_cycle + late, stimulus)
        delayed = stimulus.with_bits(stimulus.bit_cycle[bits] + late, stimulus.bit[bits])
        yield replace(plain, change=f"disk.latency: {late} more", stimulus=delayed)
        if not reads(stimulus.access_kind).all():
            writes = _later(stimulus, ~reads(stimulus.access_kind), late)
            yield replace(plain, change=f"bus.write_latency: {late} more", stimulus=writes)
        every = _later(stimulus, np.ones(len(stimulus.access_cycle), bool), late)
        if plain.observed.lanes:  # what reads return is sampled too soon then, and tells nothing
            yield replace(
                plain,
                change=f"bus.latency: {late} more",
                stimulus=every,
                reads=plain.reads.part(slice(0)),
            )
        for name in (n for n in LEVELS if n in stimulus.levels):
            levels = {**stimulus.levels, name: _late(stimulus.levels[name], late)}
            yield replace(
                plain,
                change=f"inputs.{name}.latency: {late} more",
                stimulus=replace(stimulus, levels=levels),
            )


def _inside(cycle: np.ndarray, stimulus: Stimulus) -> np.ndarray:
    return np.flatnonzero(cycle < stimulus.end)


def _late(level: Lane, cycles: int) -> Lane:
    return Lane.constant(int(level.value[0]), int(level.cycle[0])).then(level.delayed(cycles))


def _later(stimulus: Stimulus, which: np.ndarray, late: int) -> Stimulus:
    """Return the stimulus with some of its accesses later."""
    cycle = stimulus.access_cycle + np.where(which, late, 0)
    order = np.argsort(cycle, kind="stable")
    order = order[cycle[order] < stimulus.end]
    return replace(
        stimulus,
        access_cycle=cycle[order],
        access_kind=stimulus.access_kind[order],
        access_mask=stimulus.access_mask[order],
        access_value=stimulus.access_value[order],
    )


def clearing_byte(plain: Trial) -> Iterator[Trial]:
    """Yield what comes of a status read in bytes whose other byte clears byte_ready."""
    stimulus = plain.stimulus
    kind = stimulus.access_kind
    clears, part = kind == READ_STATUS, kind == READ_STATUS_PART
    if part.any():
        turned = np.where(clears, READ_STATUS_PART, np.where(part, READ_STATUS, kind))
        other = replace(stimulus, access_kind=turned.astype(kind.dtype))
        change = "bus.registers.status.clears_on: the other byte"
        yield replace(plain, change=change, stimulus=other)


def bus_trials(plain: Trial) -> Iterator[Trial]:
    """Yield what comes of a bus whose bytes, addresses or strobes are bound wrongly."""
    stimulus, returned = plain.stimulus, plain.reads
    reading = reads(stimulus.access_kind)
    whole = stimulus.access_mask == WORD
    swapped = _swapped(stimulus.access_value)
    written = np.where(~reading & whole, swapped, stimulus.access_value).astype(np.uint16)
    turned = replace(stimulus, access_value=written)
    if (returned.mask == WORD).all() and len(returned.cycle):
        bytes_ = tuple(
            (v >> 8 | (v & 0xFF) << 8).astype(np.uint16) for v in (returned.value, returned.unknown)
        )
        other = replace(returned, value=bytes_[0], unknown=bytes_[1])
        yield replace(
            plain, change="bus.byte_order the other way round", stimulus=turned, reads=other
        )
        yield replace(plain, change="the bytes of bus.read_data the other way round", reads=other)
    if (~reading).any():
        change = "the bytes of bus.write_data the other way round"
        yield replace(plain, change=change, stimulus=turned)


def _swapped(words: Words) -> Words:
    """Return words with their bytes the other way round."""
    return (words >> 8 | (words & 0xFF) << 8).astype(np.uint16)


def swapped_levels(plain: Trial) -> Iterator[Trial]:
    """Yield two of the level inputs bound to one another's ports."""
    stimulus = plain.stimulus
    for one, other in combinations((n for n in LEVELS if n in stimulus.levels), 2):
        levels = {**stimulus.levels, one: stimulus.level(other), other: stimulus.level(one)}
        yield replace(
            plain,
            change=f"inputs.{one} and inputs.{other} the other way round",
            stimulus=replace(stimulus, levels=levels),
        )


def turned_lane(plain: Trial, finding: Finding) -> Iterator[Trial]:
    """Yield the mismatching flag or line observed with the other polarity."""
    name, observed = finding.mismatch.field, plain.observed
    lane = observed.lanes.get(name)
    if lane is None or lane.value.max(initial=0) > 1 or name == "data":
        return
    lanes = {**observed.lanes, name: Lane(lane.cycle, 1 - lane.value)}
    key = f"observe.fields.{name}" if name in FIELD_NAMES else f"lines.{name}"
    turned = Observed(lanes, observed.unknown, observed.undecided)
    yield replace(plain, change=f"{key} active the other way", observed=turned)


def exchanged_lines(plain: Trial, finding: Finding) -> Iterator[Trial]:
    """Yield the mismatching line exchanged with another one that is a bit wide."""
    name, observed = finding.mismatch.field, plain.observed
    if name not in EXCHANGED or name not in observed.lanes:
        return
    for other in (n for n in EXCHANGED if n != name and n in observed.lanes):
        lanes, unknown = (
            {**lanes, name: lanes[other], other: lanes[name]}
            for lanes in (observed.lanes, observed.unknown)
        )
        turned = Observed(lanes, unknown, observed.undecided)
        change = f"lines.{name} and lines.{other} the other way round"
        yield replace(plain, change=change, observed=turned)
