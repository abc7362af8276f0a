"""A list of accesses laid out on a bus all at once, where nothing that is read matters to them."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from refmodel.ground.bus import READ_OTHER, WRITE_KINDS, BusCycle, BusShape
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.word import WORD
from refmodel.host.machine import Machine, Timing

Listed = Sequence[Sequence[int | str]]  # each `[cost, register]` or `[cost, register, value]`


def can_be_listed(
    accesses: Listed, shape: BusShape, machine: Machine, registers: Collection[str]
) -> bool:
    """Return whether no more than the list says where its bus cycles fall, and all are there.

    Where one falls otherwise depends on resets that cut it short, on who else is on the bus, or on
    the words that the host writes for the disk.
    """
    plain = (
        machine.timing == Timing()
        and len(accesses) < machine.limit
        and not (shape.fed or machine.waits)
    )
    known = {"status", *WRITE_KINDS} & {*registers}
    written = {access[1] for access in accesses if len(access) > 2}
    there = written <= {*WRITE_KINDS} and {access[1] for access in accesses} <= known
    return plain and there and ((shape.over_at_once and not shape.in_halves) or not machine.resets)


def with_listed(stimulus: Stimulus, accesses: Listed, shape: BusShape, start: int) -> Stimulus:
    """Return a stimulus with the bus cycles of a list that begin in it.

    They are those a processor makes: the first access comes `cost` cycles behind edge `start`,
    each other one behind the end of the one before.
    """
    if not accesses:
        return stimulus
    kinds = [(str(access[1]), len(access) > 2) for access in accesses]
    known = {kind: n for n, kind in enumerate(dict.fromkeys(kinds))}
    made = [_bus_cycles(*kind, shape) for kind in known]
    which = np.array([known[kind] for kind in kinds])
    parts = np.array([len(one) for one in made])[which]
    lasts = (parts - 1) * shape.step + shape.busy
    cost = np.array([int(access[0]) for access in accesses], np.int64)
    begin = start + np.cumsum(cost) + np.cumsum(lasts) - lasts
    given = np.array([int(a[2]) if len(a) > 2 else 0 for a in accesses], np.int64)
    each = np.repeat(np.arange(len(which)), parts)  # the access of each bus cycle
    number = np.arange(len(each)) - np.repeat(np.cumsum(parts) - parts, parts)
    rows = np.array([(b.cycle, b.kind, b.mask, b.value) for one in made for b in one], np.int64)
    first = np.cumsum([0, *map(len, made)])[which]
    late, kind, mask, kept = rows[first[each] + number].T
    inside = np.flatnonzero(begin[each] + late < stimulus.end)
    return replace(
        stimulus,
        access_cycle=(begin[each] + late)[inside],
        access_kind=kind[inside].astype(np.uint8),
        access_mask=mask[inside].astype(np.uint16),
        access_value=(given[each] & kept)[inside].astype(np.uint16),
    )


def _bus_cycles(register: str, written: bool, shape: BusShape) -> list[BusCycle]:
    """Return the bus cycles of an access that begins at 0; a value is the bits that are kept."""
    if written:
        return shape.write(register, 0, WORD)
    return shape.read_status(0) if register == "status" else [BusCycle(0, READ_OTHER)]
