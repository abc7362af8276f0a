"""The host's accesses in a capture: bus cycles, and what reads of status returned."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refmodel.capture.capture_map import BusPart, CaptureMap
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
from refmodel.ground.lane import Cycles, Lane, cycles_up, rises_of
from refmodel.ground.word import WORD
from refmodel.host.addresses import StatusAddress, WordAddress

Meaning = dict[int, tuple[int, int]]  # by address: kind of bus cycle, and the bits it carries


@dataclass(frozen=True)
class Accesses:
    """Bus cycles as a stimulus has them; `returned` and `vague` are what each read gave."""

    cycle: Cycles
    kind: NDArray[np.uint8]
    mask: Words
    value: Words
    returned: Words
    vague: Words
    recorded: bool = True

    def reads(self) -> Reads:
        """Return the reads of status; nothing of them is decided if their data was not recorded."""
        status = reads_status(self.kind)
        mask, vague = self.mask[status], self.vague[status]
        undecided = None if self.recorded else np.full(len(mask), WORD, np.uint16)
        return Reads(self.cycle[status], mask, self.returned[status], vague, undecided)


_NONE = np.empty(0, np.uint16)
NO_ACCESSES = Accesses(np.empty(0, np.int64), np.empty(0, np.uint8), _NONE, _NONE, _NONE, _NONE)


class AccessReader:
    """Reads bus cycles out of sampled lanes, span after span."""

    def __init__(self, given: CaptureMap) -> None:
        self._bus = given.bus
        self._reads, self._writes = meanings(given.bus) if given.bus is not None else ({}, {})
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
        for write, depth in zip((False, True), self._bus.depths, strict=True):
            low = first if fresh else first - depth
            edges = _active(self._bus, value, write, low, end - depth)
            edges = edges[~np.isin(edges, tails)]
            rows.append(self._rows(value, unknown, edges, write, depth))
        both = [np.concatenate(pair) for pair in zip(*rows, strict=True)]
        order = np.argsort(both[0], kind="stable")
        cycle, kind, mask, data, returned, vague = (column[order] for column in both)
        once = np.diff(cycle, append=1 << 62) > 0  # of two on one edge the write is kept
        columns = (kind.astype(np.uint8), mask, data, returned, vague)
        parts = [column[once] for column in columns]
        words = [part.astype(np.uint16) for part in parts[1:]]
        recorded = "bus_read_data" in value
        return Accesses(cycle[once], parts[0], words[0], words[1], words[2], words[3], recorded)

    def _rows(
        self,
        value: dict[str, Lane],
        unknown: dict[str, Lane],
        edges: Cycles,
        write: bool,
        depth: int,
    ) -> list[NDArray[np.int64]]:
        """Return the columns of the bus cycles at some edges."""
        assert self._bus is not None
        address = _at(value, "bus_address", edges)
        meaning = self._writes if write else self._reads
        if self._bus.address is None:
            meaning = {0: next(iter(self._reads.values()))} if not write and self._reads else {}
        kinds = np.array([meaning.get(a, (READ_OTHER, 0))[0] for a in address.tolist()], np.int64)
        masks = np.array([meaning.get(a, (READ_OTHER, 0))[1] for a in address.tolist()], np.int64)
        known = masks != 0 if write else np.ones(len(edges), bool)
        edges, kinds, masks = edges[known], kinds[known], masks[known]
        none = np.zeros(len(edges), np.int64)
        if write:
            data = self._written(_at(value, "bus_write_data", edges), kinds, masks)
            return [edges + depth, kinds, masks, data, none, none]
        later = edges + depth + self._bus.read_latency
        shift = np.where(masks == HIGH, 8, 0)
        returned = (_at(value, "bus_read_data", later) << shift) & WORD
        vague = (_at(unknown, "bus_read_data", later) << shift) & WORD
        return [edges + depth, kinds, masks, none, returned, vague]

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
                word = (value << 8) & HIGH
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


def _active(bus: BusPart, value: dict[str, Lane], write: bool, first: int, end: int) -> Cycles:
    """Return the edges at which the bus reads, or writes."""
    names = ("bus_select", "bus_write") if bus.select is not None else ("bus_read", "bus_write")
    lanes = {n: value[n] for n in names if n in value}
    if end <= first or not lanes:
        return np.empty(0, np.int64)
    first = max(first, *(int(lane.cycle[0]) for lane in lanes.values()))
    if bus.select is not None:
        cycles = np.unique(np.concatenate([lane.cycle for lane in lanes.values()]))
        cycles = cycles[cycles >= first] if len(cycles) else cycles
        cycles = np.union1d(cycles, [first])
        writing = lanes["bus_write"].at(cycles) if "bus_write" in lanes else 0 * cycles
        lane = Lane.of(cycles, (lanes["bus_select"].at(cycles) != 0) & ((writing != 0) == write))
    else:
        name = "bus_write" if write else "bus_read"
        if name not in lanes:
            return np.empty(0, np.int64)
        lane = lanes[name]
    if bus.acts == "held":
        return cycles_up(lane.between(first, end), end)
    return _once(lane, bus.acts == "first", first, end)


def _once(lane: Lane, at_first: bool, first: int, end: int) -> Cycles:
    """Return the first or the last edge of each time a level is up."""
    if at_first:
        return rises_of(lane, first, end)
    before = np.concatenate(([0], lane.value[:-1]))
    falls = lane.cycle[(lane.value == 0) & (before != 0)] - 1
    return np.asarray(falls[(falls >= first) & (falls < end)], np.int64)
