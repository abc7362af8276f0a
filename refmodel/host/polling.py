"""What the programs of timing checks do by polling: wait for a sync word, an index, some bytes."""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

from refmodel.host.program import Access, Read, StatusView

Step = Generator[Access, Any, Any]
SYNC_COST = 6  # three reads or more fall into one channel bit of 14 cycles, at any host speed


def is_unwritable(byte: int) -> bool:
    """Tell a byte no MFM writer makes: transitions side by side, or four channel bits without."""
    text = f"{byte:08b}"
    return "11" in text or "0000" in text


def byte_cycle(cost: int) -> Step:
    """Return the cycle in which the next byte is seen."""
    while not (status := (yield Read("status", cost))).byte_ready:
        pass
    return status.cycle


def index_up(cost: int) -> Step:
    """Wait while the index line is down; a run begins with it up."""
    while not (yield Read("drive", cost)).index:
        pass


def sync_seen(cost: int, patience: int | None = None) -> Step:
    """Poll until sync_equal has gone up; return what was read then, None when patience ends."""
    end = None
    while True:
        status = yield Read("status", cost)
        if status.sync_equal:
            return status
        if end is None and patience is not None:
            end = status.cycle + patience
        if end is not None and status.cycle >= end:
            return None


def field_behind_sync(count: int, cost: int, cost_sync: int, patience: int) -> Step:
    """Return `count` bytes behind the next sync word; all -1 if there is none."""
    found: StatusView | None = yield from sync_seen(cost_sync, patience)
    if found is None:
        return [-1] * count
    return (yield from next_bytes(count, cost))


def next_bytes(count: int, cost: int) -> Step:
    """Return the next `count` bytes."""
    values = []
    for _ in range(count):
        while not (status := (yield Read("status", cost))).byte_ready:
            pass
        values.append(int(status.data))
    return values


def timed_bytes(count: int, cost: int) -> Step:
    """Return the polls and the cycles until `count` bytes more have been seen ready."""
    polls, seen, first = 0, 0, None
    while seen < count:
        status = yield Read("status", cost)
        polls += 1
        first = status.cycle if first is None else first
        seen += status.byte_ready
    return polls, status.cycle - first + cost


def next_index(cost: int) -> Step:
    """Return the cycle in which an index pulse is seen to begin."""
    drive = yield Read("drive", cost)
    while drive.index:
        drive = yield Read("drive", cost)
    while not drive.index:
        drive = yield Read("drive", cost)
    return drive.cycle
