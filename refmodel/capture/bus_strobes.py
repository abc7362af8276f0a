"""When the host's accesses are, by the strobes of a recorded bus."""

from __future__ import annotations

import numpy as np

from refmodel.capture.map_parts import BusPart
from refmodel.ground.lane import Cycles, Lane, cycles_up, rises_of

NEVER = 1 << 62
_NONE = np.empty(0, np.int64)


def active(
    bus: BusPart, value: dict[str, Lane], write: bool, first: int, end: int
) -> tuple[Cycles, Cycles]:
    """Return the edges at which the bus reads, or writes, and those at which each is answered."""
    lane = _strobe(bus, value, write)
    if end <= first or lane is None:
        return _NONE, _NONE
    first = max(first, int(lane.cycle[0]))
    if bus.acknowledge is not None:
        return _acknowledged(bus, lane, value["bus_acknowledge"], first, end)
    if bus.acts == "held":
        edges = cycles_up(lane.between(first, end), end)
    else:
        edges = _once(lane, bus.acts == "first", first, end)
    return edges, edges


def _strobe(bus: BusPart, value: dict[str, Lane], write: bool) -> Lane | None:
    """Return the line that is up while the bus reads, or writes."""
    if bus.select is None:
        return value.get("bus_write" if write else "bus_read")
    select, writes = value["bus_select"], value.get("bus_write")
    if writes is None:
        return None if write else select
    first = max(int(select.cycle[0]), int(writes.cycle[0]))
    cycles = np.union1d(select.cycle, writes.cycle)
    cycles = np.union1d(cycles[cycles >= first], [first])
    writing = writes.at(cycles) != 0
    return Lane.of(cycles, (select.at(cycles) != 0) & (writing == write))


def _acknowledged(
    bus: BusPart, strobe: Lane, acknowledge: Lane, first: int, end: int
) -> tuple[Cycles, Cycles]:
    """Return the edges at which accesses count, and those that sample the acknowledge."""
    cycles = np.union1d(strobe.cycle, acknowledge.cycle)
    cycles = cycles[cycles >= max(int(strobe.cycle[0]), int(acknowledge.cycle[0]))]
    both = Lane.of(cycles, (strobe.at(cycles) != 0) & (acknowledge.at(cycles) != 0))
    answers = rises_of(both, int(cycles[0]), NEVER)
    begins = rises_of(strobe, int(strobe.cycle[0]), NEVER)
    begins, once = np.unique(
        begins[np.searchsorted(begins, answers, side="right") - 1], return_index=True
    )
    answers = answers[once]
    counts = begins if bus.acts == "first" else answers
    inside = (counts >= first) & (counts < end)
    return counts[inside], answers[inside]


def _once(lane: Lane, at_first: bool, first: int, end: int) -> Cycles:
    """Return the first or the last edge of each time a level is up."""
    if at_first:
        return rises_of(lane, first, end)
    before = np.concatenate(([0], lane.value[:-1]))
    falls = lane.cycle[(lane.value == 0) & (before != 0)] - 1
    return np.asarray(falls[(falls >= first) & (falls < end)], np.int64)
