"""The host's accesses in a user's bench: seen on the bus the binding names, or handed over."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from refmodel.ground.bus import (
    HIGH,
    LOW,
    READ_OTHER,
    READ_STATUS,
    READ_STATUS_PART,
    WRITE_KINDS,
    WRITE_SYNC_WORD,
)
from refmodel.ground.depth import AGAIN
from refmodel.ground.errors import InputError, UserError
from refmodel.ground.lane import Cycles
from refmodel.ground.word import WORD
from testbenches.binding.schema import Binding
from testbenches.checker.sampled import Sampled
from testbenches.checker.strobes import Held, whole_ones

PARTS = {None: WORD, "high": HIGH, "low": LOW}


@dataclass(frozen=True)
class Access:
    """One bus cycle, counted at an edge; a read of status has what it returned, with X and Z bits.

    `mask` is `AGAIN` where one that is held counts once more, and returns nothing.
    """

    edge: int
    kind: int
    mask: int
    value: int = 0
    unknown: int = 0


@dataclass
class BenchBus:
    """Finds the accesses on the binding's bus; `registers` by address: name, mask, kind of read."""

    binding: Binding
    _high: dict[str, int] = field(default_factory=dict)  # of a word whose low byte is to come

    @property
    def latency(self) -> int:
        """Edges from the one at which a read counts, at the pin, to its value."""
        bus = self.binding.bus
        if bus is None or bus.acknowledge is not None:
            return 0
        return bus.latency + bus.read_latency

    def settled(self, seen: dict[str, Sampled], first: int, known: int, end: int) -> int:
        """Return up to which edge, `end` at most, every access is over that has begun before.

        Edges `first` .. `known - 1` have been sampled. Raises UserError for one cut short.
        """
        for held in sorted(self._held(seen, first, known), reverse=True):
            if not held.over or held.first < end <= held.last:
                end = min(end, held.first)
        return end

    def refuse_open(self, seen: dict[str, Sampled], first: int, known: int) -> None:
        """Raise InputError for an access that is under way when the test ends."""
        bus = self.binding.bus
        for held in self._held(seen, first, known):
            if not held.over and bus is not None:
                key = "hold" if bus.acknowledge is None else "acknowledge"
                waits = "is not over" if key == "hold" else "is not acknowledged"
                message = f"the test ends within an access: one from edge {held.first} on {waits}"
                raise InputError([self.binding.document.problem(("bus", key), message)])

    def accesses(self, seen: dict[str, Sampled], first: int, end: int) -> list[Access]:
        """Return the accesses at edges `first` .. `end - 1` in order.

        Raises UserError for a read and a write at one edge.
        """
        reads, writes = _strobes(seen, first, end)
        both = np.intersect1d(reads, writes)
        if len(both):
            raise UserError(f"{self.binding.path}: bus: a read and a write at edge {both[0]}")
        ack = seen.get("bus.acknowledge")
        reading, writing = (
            [held for held in whole_ones(self.binding, edges, end, ack) if held.counts]
            for edges in (reads, writes)
        )
        found = [*self._reads(seen, reading), *self._writes(seen, writing)]
        return sorted(found, key=lambda access: access.edge)

    def _held(self, seen: dict[str, Sampled], first: int, known: int) -> Iterator[Held]:
        """Yield the accesses that last for more than an edge."""
        bus = self.binding.bus
        if bus is None or (bus.hold == 1 and bus.acknowledge is None):
            return
        for edges in _strobes(seen, first, known):
            yield from whole_ones(self.binding, edges, known, seen.get("bus.acknowledge"))

    def _reads(self, seen: dict[str, Sampled], held: list[Held]) -> Iterator[Access]:
        places = {place: mask for place, (name, mask) in self._places().items() if name == "status"}
        edges = np.array([one.counts[0] for one in held], np.int64)
        address = self._addresses(seen, edges)
        data = seen["bus.read_data"]
        acknowledged = "bus.acknowledge" in seen
        due = np.array([one.last for one in held], np.int64) if acknowledged else edges
        values, x_bits = (
            lane.at(due + self.latency).tolist() for lane in (data.value, data.unknown)
        )
        carried = self._carried(seen, edges)
        clears = self.binding.bus_shape.clears
        for one, place, value, unknown, bytes_ in zip(
            held, address, values, x_bits, carried, strict=True
        ):
            mask = places.get(place)
            if mask is None:
                yield from (Access(edge, READ_OTHER, WORD) for edge in one.counts[:1])
                continue
            kind = READ_STATUS if mask == clears else READ_STATUS_PART
            word, unclear = (self._from_bus(v, mask) for v in (value, unknown))
            yield Access(one.counts[0], kind, mask & bytes_, word, unclear)
            yield from (Access(edge, kind, AGAIN) for edge in one.counts[1:])

    def _writes(self, seen: dict[str, Sampled], held: list[Held]) -> Iterator[Access]:
        places = self._places()
        for one in held:
            for edge in one.counts:
                at = np.array([edge])
                name, mask = places.get(self._addresses(seen, at)[0], ("", 0))
                if name in WRITE_KINDS:
                    value = self._from_bus(int(seen["bus.write_data"].value.at(edge)), mask)
                    yield self.write(edge, name, mask & self._carried(seen, at)[0], value)

    def _addresses(self, seen: dict[str, Sampled], edges: Cycles) -> list[int]:
        """Return the addresses at some edges, of the lines the core looks at."""
        decoded = self.binding.bus.decoded if self.binding.bus is not None else None
        lines = seen["bus.address"].value.at(edges).astype(np.int64)
        found: list[int] = (lines if decoded is None else lines & decoded).tolist()
        return found

    def _carried(self, seen: dict[str, Sampled], edges: Cycles) -> list[int]:
        """Return the bits of a register that the data strobes let through, all without any."""
        mask = np.full(len(edges), WORD, np.int64)
        for name, bits in (("bus.strobes.high", HIGH), ("bus.strobes.low", LOW)):
            if name in seen:
                mask &= np.where(seen[name].value.at(edges) == 1, WORD, WORD & ~bits)
        found: list[int] = mask.tolist()
        return found

    def _from_bus(self, value: int, mask: int) -> int:
        """Return the register's bits of what is on the data port."""
        if mask == HIGH and self.binding.byte_wide:
            value <<= 8
        bus = self.binding.bus
        if bus is not None and bus.byte_order == "swapped":
            value = value >> 8 & LOW | value << 8 & HIGH
        return value & WORD

    def write(self, edge: int, name: str, mask: int, value: int) -> Access:
        """Return a write; one of a word in two bytes carries all of it with the low byte."""
        kind = WRITE_KINDS[name]
        if kind != WRITE_SYNC_WORD and mask == HIGH:
            self._high[name] = value & HIGH
        elif kind != WRITE_SYNC_WORD and mask == LOW:
            return Access(edge, kind, mask, self._high.get(name, 0) | value & LOW)
        return Access(edge, kind, mask, value & mask)

    def _places(self) -> dict[int, tuple[str, int]]:
        """Return register and mask of each address the binding names."""
        masks = {"word": WORD, "high": HIGH, "low": LOW}
        return {
            bus_cycle.address: (name, masks[bus_cycle.half])
            for name in self.binding.registers
            for bus_cycle in self.binding.bus_cycles(name)
        }


def _strobes(seen: dict[str, Sampled], first: int, end: int) -> tuple[Cycles, Cycles]:
    """Return the edges at which the bus reads, and those at which it writes."""
    names = ("bus.read", "bus.select", "bus.write")
    read, select, write = (
        seen[name].active(first, end) if name in seen else np.empty(0, np.int64) for name in names
    )
    if "bus.read" in seen and "bus.select" in seen:
        return np.intersect1d(read, select), np.intersect1d(write, select)
    if "bus.read" in seen:
        return read, write
    return np.setdiff1d(select, write), np.intersect1d(select, write)


def one_an_edge(accesses: Iterable[Access]) -> list[Access]:
    """Return accesses in order of their edges; raise UserError for two on one edge."""
    ordered = sorted(accesses, key=lambda access: access.edge)
    for one, other in pairwise(ordered):
        if one.edge == other.edge:
            raise UserError(
                f"two accesses fall on edge {one.edge} of the clock; the block takes one a cycle"
            )
    return ordered


def at_edge(access: Access, edge: int) -> Access:
    """Return the access at an edge."""
    return replace(access, edge=edge)
