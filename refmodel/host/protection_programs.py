"""Host programs of the timing checks: each measures something and returns it by name.

A program names what an access costs in cycles (see `refmodel.host.machine`) and gives up looking
for a flag after `patience` cycles, as a loader does. What it waits by `Wait` is a timer's time. It
takes a time from `cycle` of what a read returns, as from a free-running timer.
"""

from __future__ import annotations

from collections.abc import Sequence

from refmodel.block.arming import ENABLE, WRITE
from refmodel.block.control import SET, WAIT_FOR_SYNC
from refmodel.host.polling import (
    SYNC_COST,
    byte_cycle,
    field_behind_sync,
    index_up,
    is_unwritable,
    next_bytes,
    next_index,
    sync_seen,
    timed_bytes,
)
from refmodel.host.program import Program, ProgramMaker, Read, Wait, Word, Write
from refmodel.host.sector_program import sector_headers
from refmodel.host.transfer_programs import arm


def measure_region(
    skip: int = 2, count: int = 64, between: int = 6, cost: int = 32, cost_sync: int = SYNC_COST
) -> Program:
    """Time `count` bytes behind a sync word and, `between` bytes on, as many again.

    `poll_ratio` and `time_ratio` are the second against the first, by polls counted and by timer.
    """
    yield from sync_seen(cost_sync)
    yield from next_bytes(skip, cost)
    first = yield from timed_bytes(count, cost)
    yield from next_bytes(between, cost)
    second = yield from timed_bytes(count, cost)
    return {
        "polls_outside": first[0],
        "polls_inside": second[0],
        "poll_ratio": second[0] / first[0],
        "time_ratio": second[1] / first[1],
    }


def track_length(cost: int = 20) -> Program:
    """Count the bytes from one index pulse to the next."""
    yield from next_index(cost)
    count, up = 0, 1
    while True:
        count += (yield Read("status", cost)).byte_ready
        index = (yield Read("drive", cost)).index
        if index and not up:
            return {"bytes": count}
        up = index


def data_length(cost: int = SYNC_COST) -> Program:
    """Count the bytes from a sync word to where it comes round again."""
    yield from sync_seen(cost)
    count, up = 0, 1
    while True:
        status = yield Read("status", cost)
        count += status.byte_ready
        if status.sync_equal and not up:
            return {"bytes": count}
        up = status.sync_equal


def read_twice(
    stable: int = 8,
    weak: int = 8,
    behind: int = 8,
    cost: int = 24,
    cost_sync: int = SYNC_COST,
    patience: int = 200_000,
) -> Program:
    """Read two fields twice and compare; the first ends in `weak` doubtful bytes.

    `weak_differences` counts bytes that differ there, `other_differences` those elsewhere.
    """
    turns = []
    for _ in range(2):
        first = yield from field_behind_sync(stable + weak, cost, cost_sync, patience)
        second = yield from field_behind_sync(behind, cost, cost_sync, patience)
        turns.append((first, second))
    (one, one_behind), (two, two_behind) = turns
    differ = [a != b for a, b in zip(one, two, strict=True)]
    others = sum(differ[:stable]) + sum(a != b for a, b in zip(one_behind, two_behind, strict=True))
    return {"weak_differences": sum(differ[stable:]), "other_differences": others}


def odd_syncs(
    sync_words: Sequence[Word],
    content: Sequence[int] = (),
    cost: int = 24,
    cost_sync: int = SYNC_COST,
    patience: int = 40_000,
) -> Program:
    """Look for each of `sync_words`; count the fields that hold `content` behind it."""
    right = 0
    for word in sync_words:
        yield Write("sync_word", word, cost)
        found = yield from field_behind_sync(len(content), cost, cost_sync, patience)
        right += found == list(content)
    return {"fields": right}


def catch_sync(count: int = 8, cost: int = SYNC_COST, patience: int = 100_000) -> Program:
    """Catch the sync flag by a tight poll: how often, and how long it was seen at the longest."""
    seen: list[int] = []
    first = None
    now = end = 0
    while len(seen) < count and (not end or now < end):
        status = yield Read("status", cost)
        now = status.cycle
        end = end or now + patience
        if status.sync_equal:
            first = now if first is None else first
            last = now
        elif first is not None:
            seen.append(last - first)
            first = None
    return {"caught": len(seen), "longest": max(seen, default=0)}


def second_read(
    count: int = 8, cost: int = SYNC_COST, pause: int = 12, patience: int = 100_000
) -> Program:
    """Read status again when the sync flag has just been seen; it must be down by then."""
    caught = still_up = 0
    while caught < count and (yield from sync_seen(cost, patience)) is not None:
        yield Wait(pause)
        still_up += (yield Read("status", cost)).sync_equal
        caught += 1
    return {"caught": caught, "still_up": still_up}


def silent_gap(
    length: int = 40,
    behind: Sequence[int] = (),
    cost: int = 24,
    cost_sync: int = SYNC_COST,
    patience: int = 200_000,
) -> Program:
    """Read through a gap; count bytes no MFM writer makes, and whether the data behind is right.

    Those have two transitions side by side, or none in four channel bits or more.
    """
    gap = yield from field_behind_sync(length, cost, cost_sync, patience)
    after = yield from field_behind_sync(len(behind), cost, cost_sync, patience)
    return {
        "unwritable_bytes": sum(map(is_unwritable, gap)),
        "right_behind": int(after == list(behind)),
    }


def index_to_sync(wait: int = 28_000, cost: int = 16, cost_sync: int = SYNC_COST) -> Program:
    """Measure from the index pulse to the first sync word, looking for it after `wait` cycles."""
    index = yield from next_index(cost)
    yield Wait(wait)
    status = yield from sync_seen(cost_sync)
    return {"cycles": status.cycle - index}


def track_angle(cost: int = 20, cost_sync: int = SYNC_COST) -> Program:
    """Measure the angle from a sync word on one track to that on the next, in turns.

    The scenario moves the head; the program waits until it stands on track 1.
    """
    before = yield from next_index(cost)
    index = yield from next_index(cost)
    here = (yield from sync_seen(cost_sync)).cycle - index
    drive = yield Read("drive", cost)
    while not (drive.track == 1 and drive.settled):
        drive = yield Read("drive", cost)
    there = -(yield from next_index(cost))
    there += (yield from sync_seen(cost_sync)).cycle
    return {"turns": (there - here) / (index - before) % 1}


def watch_transfer(cost: int = 24, patience: int = 100_000) -> Program:
    """Watch dma_active rise and fall; count bytes, and reads that saw writing, meanwhile."""
    status = yield Read("status", cost)
    end = status.cycle + patience
    while not status.dma_active and status.cycle < end:
        status = yield Read("status", cost)
    count = writing = 0
    while status.dma_active and status.cycle < end:
        count += status.byte_ready
        writing += status.writing
        status = yield Read("status", cost)
    return {"bytes": count, "writing": writing, "ended": int(not status.dma_active)}


def timed_transfer(
    words: int = 20,
    longest: int = 5000,
    cost: int = SYNC_COST,
    arming: int = 2,
    patience: int = 100_000,
) -> Program:
    """Start a read transfer that waits for a sync word; time dma_active from sync to its fall.

    It is stopped `longest` cycles behind the sync word, since dma_active may mean that a transfer
    is enabled (policy `dma_active_means`) and not fall before. `before` is dma_active ahead of the
    start, `writing` counts reads that saw that bit, `ended` tells whether dma_active is down in the
    end.
    """
    before = (yield Read("status", cost)).dma_active
    yield Write("control", SET | WAIT_FOR_SYNC, cost)
    yield from arm(ENABLE | words, arming, cost)
    status = yield Read("status", cost)
    end = status.cycle + patience
    sync = None
    writing = 0
    while status.dma_active and status.cycle < end:
        writing += status.writing
        if status.sync_equal and sync is None:
            sync = status.cycle
            end = sync + longest
        status = yield Read("status", cost)
    passed = 0 if sync is None else status.cycle - sync
    yield Write("transfer", 0, cost)
    ended = not (yield Read("status", cost)).dma_active
    return {"before": before, "cycles": passed, "writing": writing, "ended": int(ended)}


def write_field(
    words: int = 60, wait: int = 2000, lasts: int = 15_000, cost: int = 20, arming: int = 2
) -> Program:
    """Write words from memory, `wait` cycles behind the index; stop `lasts` cycles later."""
    yield from index_up(cost)
    yield Wait(wait)
    yield from arm(ENABLE | WRITE | words, arming, cost)
    yield Wait(lasts)
    yield Write("transfer", 0, cost)
    return {"written": words}


def read_written(wait: int = 3500, count: int = 64, cost: int = SYNC_COST) -> Program:
    """Time `count` bytes, `wait` cycles behind the index; `bit_cycles` is a channel bit."""
    yield from index_up(cost)
    yield Wait(wait)
    yield from next_bytes(2, cost)
    first = yield from byte_cycle(cost)
    yield from next_bytes(count - 1, cost)
    last = yield from byte_cycle(cost)
    return {"bit_cycles": (last - first) / count / 8}


PROTECTION_PROGRAMS: dict[str, ProgramMaker] = {
    program.__name__: program
    for program in (
        catch_sync,
        data_length,
        index_to_sync,
        measure_region,
        odd_syncs,
        read_twice,
        read_written,
        second_read,
        sector_headers,
        silent_gap,
        timed_transfer,
        track_angle,
        track_length,
        watch_transfer,
        write_field,
    )
}
