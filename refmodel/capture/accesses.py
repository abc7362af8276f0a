"""The host's accesses in a capture: bus cycles, and what reads of status returned."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refmodel.capture.bus_strobes import active
from refmodel.capture.capture_map import CaptureMap
from refmodel.capture.map_parts import BusPart
from refmodel.engine.evidence import Reads, Words
from refmodel.ground.bus import (
    HIGH,
    LOW,
    READ_OTHER,
    READ_STATUS,
    READ_STATUS_PART,
    WRITE_KINDS,
    WRITE_SYNC_WORD,
    reads_status,
)
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.word import WORD
from refmodel.host.addresses import StatusAddress, WordAddress

Meaning = dict[int, tuple[int, int]]  # by address: kind of bus cycle, and the bits it carries


@dataclass(frozen=True)
class Accesses:
    """Bus cycles as a stimulus has them; `returned` and `unknown` are what each read gave."""

    cycle: Cycles
    kind: NDArray[np.uint8]
    mask: Words
    value: Words
    returned: Words
    x_bits: Words
    recorded: bool = True

    def reads(self) -> Reads:
        """Return the reads of status; nothing of them is decided if their data was not recorded."""
        status = reads_status(self.kind)
        mask, x_bits = self.mask[status], self.x_bits[status]
        undecided = None if self.recorded else np.full(len(mask), WORD, np.uint16)
        return Reads(self.cycle[status], mask, self.returned[status], x_bits, undecided)


_NONE = np.empty(0, np.uint16)
NO_ACCESSES = Accesses(np.empty(0, np.int64), np.empty(0, np.uint8), _NONE, _NONE, _NONE, _NONE)


class AccessReader:
    """Reads bus cycles out of sampled lanes, span after span."""

    def __init__(self, given: CaptureMap) -> None:
        self._bus = given.bus
        self._reads, self._writes = meanings(given.bus) if given.bus is not None else ({}, {})
        self._narrow = given.bus is not None and given.bus.strobes is None  # a byte is on 7..0
        self._high: dict[int, int] = {}  # the high bytes of transfer and control, once written

    def forget(self) -> None:
        """Forget what was written so far: something was missed."""
        self._high = {}

    def read(
        self,
        value: dict[str, Lane],
        unknown: dict[str, Lane],
        first: int,
        end: int,
        fresh: bool,
        tails: Cycles,
    ) -> Accesses:
        """Return the accesses that act at edges `first` .. `end - 1`.

        `tails` are edges at which a strobe may be over: they are no accesses.
        """
        assert self._bus is not None
        rows = []
        deepest = max(self._bus.depths)
        begin = first if fresh else first - deepest
        writes, _ = active(self._bus, value, True, begin, end)
        for write, depth in zip((False, True), self._bus.depths, strict=True):
            low = first if fresh else first - depth
            edges, answers = active(self._bus, value, write, low, end - depth)
            sure = ~np.isin(edges, tails)
            if not write:  # of two on one edge of the bus the write is kept
                sure &= ~np.isin(edges, writes)
            rows.append(self._rows(value, unknown, edges[sure], answers[sure], write, depth))
        both = [np.concatenate(pair) for pair in zip(*rows, strict=True)]
        order = np.argsort(both[0], kind="stable")
        cycle, kind, mask, data, returned, x_bits = (column[order] for column in both)
        words = [column.astype(np.uint16) for column in (mask, data, returned, x_bits)]
        kinds = kind.astype(np.uint8)
        recorded = "bus_read_data" in value
        return Accesses(cycle, kinds, words[0], words[1], words[2], words[3], recorded)

    def _rows(
        self,
        value: dict[str, Lane],
        unknown: dict[str, Lane],
        edges: Cycles,
        answers: Cycles,
        write: bool,
        depth: int,
    ) -> list[NDArray[np.int64]]:
        """Return the columns of the bus cycles at some edges, answered at others."""
        assert self._bus is not None
        address = _at(value, "bus_address", answers)
        if self._bus.decoded is not None:
            address &= self._bus.decoded
        meaning = self._writes if write else self._reads
        if self._bus.address is None:
            meaning = {0: next(iter(self._reads.values()))} if not write and self._reads else {}
        kinds = np.array([meaning.get(a, (READ_OTHER, 0))[0] for a in address.tolist()], np.int64)
        masks = np.array([meaning.get(a, (READ_OTHER, 0))[1] for a in address.tolist()], np.int64)
        masks = self._strobed(value, answers, masks)
        known = masks != 0 if write else (masks != 0) | ~reads_status(kinds)
        edges, answers, kinds, masks = edges[known], answers[known], kinds[known], masks[known]
        none = np.zeros(len(edges), np.int64)
        if write:
            data = self._written(self._data(value, "bus_write_data", answers), kinds, masks)
            return [edges + depth, kinds, masks, data, none, none]
        later = answers + depth + self._bus.read_latency
        shift = np.where((masks == HIGH) & (self._bus.strobes is None), 8, 0)
        returned = (self._data(value, "bus_read_data", later) << shift) & WORD
        x_bits = (self._data(unknown, "bus_read_data", later) << shift) & WORD
        if "bus_drives" in value:
            x_bits |= np.where(_at(value, "bus_drives", later) != 0, 0, WORD)
        return [edges + depth, kinds, masks, none, returned, x_bits]

    def _data(self, lanes: dict[str, Lane], name: str, edges: Cycles) -> NDArray[np.int64]:
        """Return what a data bus has at some edges, the high byte of a word in the high bits."""
        assert self._bus is not None
        data = _at(lanes, name, edges)
        if self._bus.byte_order == "swapped":
            data = (data & LOW) << 8 | (data & HIGH) >> 8
        return data

    def _strobed(
        self, value: dict[str, Lane], edges: Cycles, masks: NDArray[np.int64]
    ) -> NDArray[np.int64]:
        """Return the bits of whole words that their data strobes leave."""
        assert self._bus is not None
        if self._bus.strobes is None:
            return masks
        halves = [
            np.where(_at(value, name, edges) != 0, mask, 0)
            for name, mask in (("bus_high", HIGH), ("bus_low", LOW))
        ]
        return np.where(masks == WORD, halves[0] | halves[1], masks)

    def _written(
        self, data: NDArray[np.int64], kinds: NDArray[np.int64], masks: NDArray[np.int64]
    ) -> NDArray[np.int64]:
        """Return the register bits each write carries; a low byte completes the whole word."""
        words = []
        rows = zip(data.tolist(), kinds.tolist(), masks.tolist(), strict=True)
        for value, kind, mask in rows:
            if mask == WORD:
                word = value & WORD
            elif mask == HIGH:
                word = (value << 8 if self._narrow else value) & HIGH
                self._high[kind] = word
            else:
                word = value & LOW
                if kind != WRITE_SYNC_WORD:
                    word |= self._high.get(kind, 0)
            words.append(word)
        return np.array(words, np.int64)


def meanings(bus: BusPart) -> tuple[Meaning, Meaning]:
    """Return what a read and what a write of each address means."""
    reads: Meaning = {}
    writes: Meaning = {}
    for name in type(bus.registers).model_fields:
        where = getattr(bus.registers, name)
        if isinstance(where, StatusAddress):
            if where.word is not None:
                reads[where.word] = (READ_STATUS, WORD)
            for half, mask, at in (("high", HIGH, where.high), ("low", LOW, where.low)):
                if at is not None:
                    clears = where.clears_on == half or where.low is None
                    reads[at] = (READ_STATUS if clears else READ_STATUS_PART, mask)
        elif isinstance(where, WordAddress):
            kind = WRITE_KINDS[name]
            if where.high is None or where.low is None:
                writes[where.word or 0] = (kind, WORD)
            else:
                writes[where.high], writes[where.low] = (kind, HIGH), (kind, LOW)
    return reads, writes


def _at(lanes: dict[str, Lane], name: str, edges: Cycles) -> NDArray[np.int64]:
    """Return a lane's values at some edges; 0 where it was not recorded."""
    lane = lanes.get(name)
    if lane is None or not len(edges):
        return np.zeros(len(edges), np.int64)
    return lane.at(edges).astype(np.int64)
