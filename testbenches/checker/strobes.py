"""Strobes that are held: which edges belong to one access, and at which of them it counts."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from refmodel.ground.errors import InputError
from refmodel.ground.lane import Cycles
from testbenches.binding.bus import Bus
from testbenches.binding.schema import Binding
from testbenches.checker.sampled import Sampled


class Held(NamedTuple):
    """An access that holds its strobe from edge `first` to `last`, and the edges it counts at.

    It is `over` when its end has been seen; one that was given up counts nowhere.
    """

    first: int
    last: int
    counts: tuple[int, ...]
    over: bool = True


def whole_ones(
    binding: Binding, edges: Cycles, known: int, acknowledge: Sampled | None = None
) -> list[Held]:
    """Return the accesses of a strobe that is active at some edges, of those before edge `known`.

    Raises InputError for one that is not held as long as the binding says.
    """
    bus = binding.bus
    assert bus is not None, "asked for only where there is one"
    if acknowledge is None and bus.hold == 1:
        return [Held(edge, edge, (edge,)) for edge in edges.tolist()]
    if acknowledge is not None:
        return list(_acknowledged(bus, edges, known, acknowledge))
    return list(_held(binding, bus, edges, known))


def _runs(edges: Cycles) -> Iterator[tuple[int, int]]:
    """Yield first and last edge of each stretch without a gap."""
    breaks = np.flatnonzero(np.diff(edges) > 1) + 1
    yield from ((int(p[0]), int(p[-1])) for p in np.split(edges, breaks) if len(p))


def _acknowledged(bus: Bus, edges: Cycles, known: int, acknowledge: Sampled) -> Iterator[Held]:
    """Yield accesses that end at the edge that samples the acknowledge.

    With pauses between them a strobe that is still held then belongs to the same access.
    """
    for begin, last in _runs(edges):
        first = begin
        for edge in range(begin, last + 1):
            if first > edge or not acknowledge.value.at(edge):
                continue
            yield Held(first, edge, (first if bus.acts == "first" else edge,))
            first = edge + 1 if bus.idle == 0 else last + 1
        if first <= last:
            yield Held(first, last, (), over=last + 1 < known)  # given up, if over


def _held(binding: Binding, bus: Bus, edges: Cycles, known: int) -> Iterator[Held]:
    """Yield accesses of a fixed length; of any length, where a pause tells them apart."""
    for begin, last in _runs(edges):
        step = last - begin + 1 if bus.idle else bus.hold
        for first in range(begin, last + 1, step):
            end = min(first + step - 1, last)
            over = last + 1 < known or (not bus.idle and end == first + step - 1)
            if over and end - first + 1 < step and bus.acts != "first":
                message = (
                    f"an access holds its strobe for {end - first + 1} cycles from edge {first} on,"
                    f" and the binding says {bus.hold}"
                )
                raise InputError([binding.document.problem(("bus", "hold"), message)])
            counts = {"first": (first,), "last": (end,), "held": tuple(range(first, end + 1))}
            yield Held(first, end, counts[bus.acts], over)
