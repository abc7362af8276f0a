"""A bus read in another way: read and write the other way round, registers at exchanged addresses.

What the host put on the bus stays; what the block makes of it changes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np

from refmodel.engine.evidence import ALL_BITS
from refmodel.engine.finding import Shown
from refmodel.engine.trial import Trial
from refmodel.ground.bus import (
    ELSEWHERE,
    READ_OTHER,
    READ_STATUS,
    READ_STATUS_PART,
    READ_UNUSED,
    WRITE_KINDS,
    WRITE_SYNC_WORD,
    WRITE_UNUSED,
    WRITTEN,
    reads,
)
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus

STATUS = "status"
FEW = 16  # addresses
NOBODYS = 0x5A3C  # in no track that is played
SHOW_SYNC_WORD = ("sync_equal", "sync_found", "sync_word")


@dataclass(frozen=True)
class Decoding:
    """Where a binding has the registers of a word-wide bus; nowhere, on a bus of any other kind.

    `other` is where the host reads what is no status, `lines` are those that the core decodes, and
    `acknowledged` is the bus if the core ends each access; what reads return comes `read_latency`
    edges late.
    """

    registers: Mapping[str, int] = field(default_factory=dict)
    other: int = 0
    lines: int = -1
    acknowledged: bool = False
    read_latency: int = 0


def bus_readings(plain: Trial, decoding: Decoding) -> Iterator[Trial]:
    """Yield what comes of a bus whose write line, or two of whose addresses, are bound wrongly.

    What reads of status return is another register's then, or nothing's: only what is observed is
    compared.
    """
    stimulus, addresses = plain.stimulus, decoding.registers
    if not plain.observed.lanes or STATUS not in addresses or not len(stimulus.access_cycle):
        return
    none = plain.reads.part(slice(0))
    turned = read_as(stimulus, decoding, addresses, other_way=True)
    yield _left_open(
        replace(plain, change="bus.write active the other way", stimulus=turned, reads=none)
    )
    for one, other in combinations(sorted(addresses), 2):
        exchanged = {**addresses, one: addresses[other], other: addresses[one]}
        yield replace(
            plain,
            change=f"bus.registers.{one} and bus.registers.{other} the other way round",
            stimulus=read_as(stimulus, decoding, exchanged),
            reads=none if STATUS in (one, other) else plain.reads,
        )


def other_addresses(plain: Trial, decoding: Decoding) -> Iterator[Trial]:
    """Yield what comes of one register at an address where the bench has accessed nothing bound.

    Of a bus with more than a few such addresses none is tried.
    """
    stimulus, addresses = plain.stimulus, decoding.registers
    if not plain.observed.lanes or STATUS not in addresses:
        return
    none = plain.reads.part(slice(0))
    for register in sorted(addresses):
        kind = READ_UNUSED if register == STATUS else WRITE_UNUSED
        beside = (stimulus.access_kind == kind) & (stimulus.access_mask != ELSEWHERE)
        found = np.unique(stimulus.access_value[beside].astype(np.int64) & decoding.lines).tolist()
        for address in found if len(found) <= FEW else ():
            yield _left_open(
                replace(
                    plain,
                    change=f"bus.registers.{register}: {address:#x}",
                    stimulus=read_as(stimulus, decoding, {**addresses, register: address}),
                    reads=none if register == STATUS else plain.reads,
                )
            )


def _left_open(trial: Trial) -> Trial:
    """Return a trial with what shows sync_word left open from a write of nobody's to the next."""
    stimulus = trial.stimulus
    written = stimulus.access_kind == WRITE_SYNC_WORD
    cycle, value = stimulus.access_cycle[written], stimulus.access_value[written]
    strange = value == NOBODYS
    if not strange.any():
        return trial
    late = 1 + max(trial.lags.values(), default=0)
    cycles = np.concatenate(([stimulus.first], cycle + np.where(strange, 0, late)))
    bits = np.concatenate(([0], np.where(strange, ALL_BITS, 0)))
    order = np.argsort(cycles, kind="stable")
    lane = Lane.of(cycles[order], bits[order])
    known = {**trial.observed.undecided, **dict.fromkeys(SHOW_SYNC_WORD, lane)}
    returned = trial.reads
    mask = trial.profile.status.mask_of("sync_equal")
    at = lane.at(np.maximum(returned.cycle - 1, stimulus.first)) != 0
    held = 0 if returned.undecided is None else returned.undecided
    open_bits = (np.where(at, mask, 0) | held).astype(np.uint16)
    return replace(
        trial,
        observed=replace(trial.observed, undecided=known),
        reads=replace(returned, undecided=open_bits),
    )


def shows_the_word_bound(trial: Trial, shown: Shown) -> bool:
    """Return whether the core matches with the model where a trial leaves open what it matches.

    Then its sync_word is the one that was bound, not one of nobody's.
    """
    for name in ("sync_equal", "sync_found"):
        core, free = trial.observed.lanes.get(name), trial.observed.undecided.get(name)
        model = {**shown.expected.lanes, **shown.expected.lines}.get(name)
        if core is None or free is None or model is None:
            continue
        rises = core.cycle[(core.value == 1) & (core.cycle > trial.stimulus.first)]
        rises = rises[free.at(rises) != 0] - trial.lags.get(name, 0)
        if np.isin(rises, model.cycle[model.value == 1]).any():
            return True
    return False


def without_writes(plain: Trial, decoding: Decoding) -> Iterator[Trial]:
    """Yield what comes of a bus on which no write ever arrives; what reads return is left open."""
    stimulus = plain.stimulus
    keep = reads(stimulus.access_kind)
    if plain.observed.lanes and not keep.all():
        alone = replace(
            stimulus,
            access_cycle=stimulus.access_cycle[keep],
            access_kind=stimulus.access_kind[keep],
            access_mask=stimulus.access_mask[keep],
            access_value=stimulus.access_value[keep],
        )
        change = "no write that arrives"
        if decoding.acknowledged:
            change += ", as with bus.acknowledge active the other way"
        yield replace(plain, change=change, stimulus=alone, reads=plain.reads.part(slice(0)))


def read_as(
    stimulus: Stimulus,
    bound: Decoding,
    real: Mapping[str, int],
    other_way: bool = False,
) -> Stimulus:
    """Return a stimulus as a core has it whose registers are at the `real` addresses.

    With `other_way` it also takes each read for a write and each write for a read. What the host
    puts on the bus as it reads is not known, and counts as a word that matches nothing.
    """
    kind, value = stimulus.access_kind, stimulus.access_value
    unused = np.isin(kind, (READ_UNUSED, WRITE_UNUSED))
    elsewhere = unused & (stimulus.access_mask == ELSEWHERE)
    address = np.where(unused, value, bound.other).astype(np.int64)
    address[np.isin(kind, (READ_STATUS, READ_STATUS_PART))] = bound.registers[STATUS]
    for code, register in WRITTEN.items():
        if register in bound.registers:
            address[kind == code] = bound.registers[register]
    address &= bound.lines
    reading = reads(kind) ^ other_way
    found = np.where(reading, READ_OTHER, WRITE_UNUSED)
    for register, whole in real.items():
        at = whole & bound.lines
        if register == STATUS:
            found[reading & (address == at)] = READ_STATUS
        else:
            found[~reading & (address == at)] = WRITE_KINDS[register]
    found = np.where(elsewhere, kind, found)
    put = np.where(reads(kind) | unused, NOBODYS, value)
    put = np.where(np.isin(found, (READ_UNUSED, WRITE_UNUSED)), value, put)
    return replace(
        stimulus,
        access_kind=found.astype(kind.dtype),
        access_value=put.astype(value.dtype),
        access_mask=np.where(elsewhere, ELSEWHERE, 0xFFFF).astype(stimulus.access_mask.dtype),
    )
