"""A bus read in another way: read and write the other way round, registers at exchanged addresses.

What the host put on the bus stays; what the block makes of it changes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np

from refmodel.engine.trial import Trial
from refmodel.ground.bus import (
    ELSEWHERE,
    READ_OTHER,
    READ_STATUS,
    READ_STATUS_PART,
    READ_UNUSED,
    WRITE_KINDS,
    WRITE_UNUSED,
    WRITTEN,
    reads,
)
from refmodel.ground.stimulus import Stimulus

STATUS = "status"
NOBODYS = 0x5A3C  # in no track that is played
WRITTEN_WITH_NOTHING = ("sync_equal", "sync_found", "sync_word")  # unknown once that is written


@dataclass(frozen=True)
class Decoding:
    """Where a binding has the registers of a word-wide bus; nowhere, on a bus of any other kind.

    `other` is where the host reads what is no status, `lines` are those that the core decodes.
    """

    registers: Mapping[str, int] = field(default_factory=dict)
    other: int = 0
    lines: int = -1


def bus_readings(plain: Trial, decoding: Decoding) -> Iterator[Trial]:
    """Yield what comes of a bus whose write line, or two of whose addresses, are bound wrongly.

    What reads of status return is another register's then, or nothing's: only what is observed is
    compared.
    """
    stimulus, addresses = plain.stimulus, decoding.registers
    if not plain.observed.lanes or STATUS not in addresses or not len(stimulus.access_cycle):
        return
    none = plain.reads.part(slice(0))
    lags = {n: lag for n, lag in plain.lags.items() if n not in WRITTEN_WITH_NOTHING}
    turned = read_as(stimulus, decoding, addresses, other_way=True)
    yield replace(
        plain, change="bus.write active the other way", stimulus=turned, reads=none, lags=lags
    )
    for one, other in combinations(sorted(addresses), 2):
        exchanged = {**addresses, one: addresses[other], other: addresses[one]}
        yield replace(
            plain,
            change=f"bus.registers.{one} and bus.registers.{other} the other way round",
            stimulus=read_as(stimulus, decoding, exchanged),
            reads=none if STATUS in (one, other) else plain.reads,
        )


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
