"""What a recorded bus does: which register lies where, and how long accesses last."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from refmodel.capture.waves import SignalChanges, Times
from refmodel.ground.numbers import counted

SYNC_WORD = 0x4489  # the MFM mark A1 with a missing clock: what is written to look for
ENABLE = 0x8000  # of transfer, written twice in a row


@dataclass(frozen=True)
class BusRoles:
    """The signals of a bus, and which of its strobes are active low.

    With a `direction`, `read` and `write` are one strobe.
    """

    clock: str | None
    address: str | None
    read: str | None
    write: str | None
    read_data: str | None
    write_data: str | None
    low: frozenset[str]
    direction: str | None = None


@dataclass(frozen=True)
class Registers:
    """The text of `registers` in a map, and the reason for it."""

    text: str
    why: str


def registers_of(bus: BusRoles, changes: Mapping[str, SignalChanges], byte_wide: bool) -> Registers:
    """Return where the registers seem to be: status is read most, sync_word has the mark written.

    What repeats a word with its enable bit set is transfer, the one other register control.
    """
    reads = _accesses(bus, changes, write=False)
    writes = _accesses(bus, changes, write=True)
    if bus.address is None or not reads:
        return Registers("{status: 0x0}", "TODO: the addresses")
    most = [address for address, _ in Counter(address for address, _ in reads).most_common(2)]
    if byte_wide and len(most) == 2:
        low, high = max(most), min(most)
        status = f"{{high: 0x{high:X}, low: 0x{low:X}, clears_on: high}}"
    else:
        status = f"0x{most[0]:X}"
    found = {"status": status, **_written(writes)}
    text = ", ".join(f"{name}: {where}" for name, where in found.items())
    said = f"status is what is read most, {counted(len(reads), 'read')}"
    if len(found) > 1:
        said += "; the others by what is written to them"
    return Registers(f"{{{text}}}", said)


def _written(writes: list[tuple[int, int]]) -> dict[str, str]:
    """Return the registers that are written, by the words that go to them."""
    words: dict[int, list[int]] = {}
    for address, word in writes:
        words.setdefault(address, []).append(word)
    found: dict[str, str] = {}
    for address, held in words.items():
        twice = any(a == b and a & ENABLE for a, b in pairwise(held))
        if "sync_word" not in found and held.count(SYNC_WORD) * 2 >= len(held):
            found["sync_word"] = f"0x{address:X}"
        elif "transfer" not in found and twice:
            found["transfer"] = f"0x{address:X}"
    left = [a for a in words if f"0x{a:X}" not in found.values()]
    if len(left) == 1 and "transfer" in found:
        found["control"] = f"0x{left[0]:X}"
    return found


def _accesses(
    bus: BusRoles, changes: Mapping[str, SignalChanges], write: bool
) -> list[tuple[int, int]]:
    """Return address and word of each access that a strobe shows."""
    strobe = bus.write if write else bus.read
    data = bus.write_data if write else bus.read_data
    if strobe is None or strobe not in changes or not len(changes[strobe].ns):
        return []
    low = strobe in bus.low
    ends = pulses(changes[strobe], low)[1]
    edges = ends if bus.clock is None else pulses(changes[bus.clock], False)[0]
    if _lasting(changes[strobe], low, edges) > 1:
        edges = ends  # each pulse is one access
    else:
        edges = edges[(np.array(_before(changes, strobe, edges)) == 1) != low]
    if bus.direction is not None:
        active = np.array(_before(changes, bus.direction, edges)) == 1
        edges = edges[(active != (bus.direction in bus.low)) == write]
    return list(
        zip(_before(changes, bus.address, edges), _before(changes, data, edges), strict=True)
    )


def pulses(changes: SignalChanges, low: bool) -> tuple[Times, Times]:
    """Return when a line goes active, and when it is no more; the last one may not be over."""
    on = (((changes.value & np.uint64(1)) != 0) != low) & ((changes.unknown & np.uint64(1)) == 0)
    begins = np.flatnonzero(on & ~np.concatenate(([False], on[:-1])))
    over = np.flatnonzero(~on)
    at = np.searchsorted(over, begins)
    begins, at = begins[at < len(over)], at[at < len(over)]
    return changes.ns[begins], changes.ns[over[at]]


def _lasting(changes: SignalChanges, low: bool, edges: Times) -> int:
    """Return how many edges of the clock a strobe is usually active for."""
    begin, end = pulses(changes, low)
    seen = np.searchsorted(edges, end) - np.searchsorted(edges, begin)
    return int(np.median(seen)) if len(seen) else 0


def lasting(line: str, low: bool, clock: str | None, changes: Mapping[str, SignalChanges]) -> int:
    """Return how many cycles a line is usually active for, 0 if it never is."""
    if clock is None or clock not in changes or line not in changes or not len(changes[line].ns):
        return 0
    return _lasting(changes[line], low, pulses(changes[clock], False)[0])


def _before(changes: Mapping[str, SignalChanges], name: str | None, ns: Times) -> list[int]:
    """Return what a signal is just before some times, 0 where nothing says."""
    if name is None or name not in changes or not len(changes[name].ns):
        return [0] * len(ns)
    held = changes[name]
    at = np.searchsorted(held.ns, ns, side="left") - 1
    found: list[int] = np.where(at < 0, 0, held.value[np.maximum(at, 0)].astype(np.int64)).tolist()
    return found
