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
from refmodel.ground.errors import UserError
from refmodel.ground.word import WORD
from testbenches.binding.schema import Binding
from testbenches.checker.sampled import Sampled

PARTS = {None: WORD, "high": HIGH, "low": LOW}


@dataclass(frozen=True)
class Access:
    """One bus cycle at an edge; a read of status has what it returned, and its X and Z bits."""

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
        """Edges from a read to its value."""
        return self.binding.bus.read_latency if self.binding.bus is not None else 0

    def accesses(self, seen: dict[str, Sampled], first: int, end: int) -> list[Access]:
        """Return the accesses at edges `first` .. `end - 1` in order.

        Raises UserError for a read and a write at one edge.
        """
        reads, writes = _strobes(seen, first, end)
        both = np.intersect1d(reads, writes)
        if len(both):
            raise UserError(f"{self.binding.path}: bus: a read and a write at edge {both[0]}")
        found = [*self._reads(seen, reads.tolist()), *self._writes(seen, writes.tolist())]
        return sorted(found, key=lambda access: access.edge)

    def _reads(self, seen: dict[str, Sampled], edges: list[int]) -> Iterator[Access]:
        places = {place: mask for place, (name, mask) in self._places().items() if name == "status"}
        address = seen["bus.address"].value.at(np.array(edges, np.int64)).tolist()
        data = seen["bus.read_data"]
        due = np.array(edges, np.int64) + self.latency
        values, vague = data.value.at(due).tolist(), data.unknown.at(due).tolist()
        clears = self.binding.bus_shape.clears
        for edge, place, value, unknown in zip(edges, address, values, vague, strict=True):
            mask = places.get(place)
            if mask is None:
                yield Access(edge, READ_OTHER, WORD)
                continue
            kind = READ_STATUS if mask == clears else READ_STATUS_PART
            shift = 8 if mask == HIGH and self.binding.byte_wide else 0
            yield Access(edge, kind, mask, value << shift & WORD, unknown << shift & WORD)

    def _writes(self, seen: dict[str, Sampled], edges: list[int]) -> Iterator[Access]:
        places = self._places()
        for edge in edges:
            name, mask = places.get(int(seen["bus.address"].value.at(edge)), ("", 0))
            if name in WRITE_KINDS:
                value = int(seen["bus.write_data"].value.at(edge))
                byte_high = mask == HIGH and self.binding.byte_wide
                yield self.write(edge, name, mask, value << 8 if byte_high else value)

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
            beat.address: (name, masks[beat.half])
            for name in self.binding.registers
            for beat in self.binding.beats(name)
        }


def _strobes(seen: dict[str, Sampled], first: int, end: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the edges at which the bus reads, and those at which it writes."""
    names = ("bus.read", "bus.select", "bus.write")
    read, select, write = (
        seen[name].active(first, end) if name in seen else np.empty(0, np.int64) for name in names
    )
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
