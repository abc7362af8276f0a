"""Host programs of checks on a track's layout: what lies where, and how it was written there."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from refmodel.host.polling import (
    SYNC_COST,
    Step,
    field_behind_sync,
    next_bytes,
    next_index,
    sync_seen,
    timed_bytes,
)
from refmodel.host.program import Program, ProgramMaker, Read, Wait
from refmodel.media.crc import crc16
from refmodel.media.mfm import decode, word_bits
from refmodel.media.sectors import DATA_MARK, DELETED_MARK, ID_MARK, SIZES
from refmodel.media.track import A1

MARK_BYTES = [0x44, 0x89]


def sync_pitch(cost: int = 20, cost_sync: int = SYNC_COST, apart: int = 400) -> Program:
    """Time the first three sync words behind the index; `ratio` is the second pitch by the first.

    Behind each it waits `apart` cycles before it looks for the next.
    """
    yield from next_index(cost)
    seen = []
    for _ in range(3):
        seen.append((yield from sync_seen(cost_sync)).cycle)
        yield Wait(apart)
    return {"ratio": (seen[2] - seen[1]) / (seen[1] - seen[0])}


def fields_in_a_row(
    contents: Sequence[Sequence[int]],
    cost: int = 24,
    cost_sync: int = SYNC_COST,
    patience: int = 40_000,
) -> Program:
    """Read behind one sync word after the other; count the fields that hold what they should."""
    right = 0
    for content in contents:
        found = yield from field_behind_sync(len(content), cost, cost_sync, patience)
        right += found == list(content)
    return {"right": right}


def odd_fields(fields: int = 8, room: int = 256, cost: int = 20, cost_sync: int = 6) -> Program:
    """Read `fields` fields; count IDs larger than the `room`, deleted data, wrong check codes.

    A data field is as long as its ID says, but `room` at most. Needs realignment.
    """
    too_large = deleted = wrong = 0
    for _ in range(fields):
        field = yield from _mfm_field(cost, cost_sync, room)
        if field[3] == ID_MARK:
            too_large += SIZES[field[7] & 7] > room
        deleted += field[3] == DELETED_MARK
        wrong += crc16(field) != 0
    return {"too_large": too_large, "deleted": deleted, "wrong_checks": wrong}


def _mfm_field(cost: int, cost_sync: int, room: int) -> Step:
    """Return the next field: three A1, its address byte, and what that announces."""
    yield from sync_seen(cost_sync)
    word = MARK_BYTES
    while word == MARK_BYTES:
        word = yield from next_bytes(2, cost)
    (mark,) = decode(word_bits(word[0] << 8 | word[1]))
    length = {ID_MARK: 6, DATA_MARK: room + 2, DELETED_MARK: room + 2}.get(mark, 0)
    raw = yield from next_bytes(2 * length, cost)
    return A1 + bytes([mark]) + decode(word_bits([a << 8 | b for a, b in _pairs(raw)]))


def _pairs(values: list[int]) -> list[tuple[int, int]]:
    return list(zip(values[::2], values[1::2], strict=True))


def graded_read(
    groups: int = 80,
    before: int = 0x92,
    behind: int = 0x91,
    cost: int = 24,
    cost_sync: int = SYNC_COST,
    patience: int = 200_000,
) -> Program:
    """Read `groups` words behind a sync word twice; the top bytes go from one value to another.

    `first` and `last` count how many of the first and last four words of both reads are `before`
    and `behind`; `differ` is how many words differ between the two reads.
    """
    reads = []
    for _ in range(2):
        raw = yield from field_behind_sync(2 * groups, cost, cost_sync, patience)
        reads.append(raw[::2])
    return {
        "first": sum(read[:4].count(before) for read in reads),
        "last": sum(read[-4:].count(behind) for read in reads),
        "differ": sum(a != b for a, b in zip(*reads, strict=True)),
    }


def measure_zones(
    zones: int = 4,
    count: int = 24,
    between: int = 8,
    cost: int = 24,
    cost_sync: int = SYNC_COST,
) -> Program:
    """Time `count` bytes in each zone, `between` bytes apart, behind a sync word.

    `zone_1`, `zone_2` ... are the times of the others against the first zone's, `rising` how many
    zones take longer than the one before.
    """
    yield from sync_seen(cost_sync)
    times = []
    for _ in range(zones):
        yield from next_bytes(between, cost)
        times.append((yield from timed_bytes(count, cost))[1])
    ratios = {f"zone_{n}": time / times[0] for n, time in enumerate(times) if n}
    return {**ratios, "rising": sum(b > a for a, b in pairwise(times))}


def unformatted(count: int = 80, cost: int = 12) -> Program:
    """Read `count` bytes; return the most channel bits without a transition, and syncs seen."""
    text, syncs = "", 0
    while len(text) < 8 * count:
        status = yield Read("status", cost)
        syncs += status.sync_equal
        if status.byte_ready:
            text += f"{status.data:08b}"
    return {"longest_gap": max(map(len, text.split("1"))), "syncs": syncs}


def sync_run(next_within: int = 260, cost: int = SYNC_COST) -> Program:
    """Count the sync words of a run: each comes within `next_within` cycles of the one before."""
    now = (yield from sync_seen(cost)).cycle
    count, up, last = 1, True, now
    while now < last + next_within:
        status = yield Read("status", cost)
        now = status.cycle
        if status.sync_equal:
            count += not up
            last = now
        up = bool(status.sync_equal)
    return {"syncs": count}


def id_of_next_track(
    cost: int = 20, cost_sync: int = SYNC_COST, patience: int = 200_000
) -> Program:
    """Wait until the head stands on track 1; `cylinder` is that of the next ID there, or -1."""
    drive = yield Read("drive", cost)
    while not (drive.track == 1 and drive.settled):
        drive = yield Read("drive", cost)
    end = drive.cycle + patience
    status = drive
    while status.cycle < end:
        status = yield Read("status", cost_sync)
        if status.sync_equal:
            field = yield from _id_behind(cost)
            if field[3] == ID_MARK and crc16(field) == 0:
                return {"cylinder": field[4]}
    return {"cylinder": -1}


def _id_behind(cost: int) -> Step:
    """Return the ID field whose first mark has just been seen, or whatever else is there."""
    word = MARK_BYTES
    while word == MARK_BYTES:
        word = yield from next_bytes(2, cost)
    raw = word + (yield from next_bytes(12, cost))
    return A1 + decode(word_bits([a << 8 | b for a, b in _pairs(raw)]))


def splices(
    marks: int = 6, behind: int = 0x92549254, cost: int = 24, cost_sync: int = SYNC_COST
) -> Program:
    """Count how often the phase of the marks changes: a write that ended or began in between.

    Without realignment bytes keep their phase over the track; the three bytes behind a mark show at
    which of its bits `behind`, the channel bits written there, begins.
    """
    phases = []
    for _ in range(marks):
        yield from sync_seen(cost_sync)
        raw = yield from next_bytes(3, cost)
        phases.append(_phase(raw, behind))
    changes = sum(a != b for a, b in pairwise(phases))
    return {"changes": changes, "read": sum(phase is not None for phase in phases)}


def _phase(raw: list[int], behind: int) -> int | None:
    """Return at which bit of three bytes, the first of which is partly the mark, a word begins."""
    text = "".join(f"{byte:08b}" for byte in raw)
    at = text.find(f"{behind >> 16:016b}"[:15])
    return at if 0 <= at < 9 else None


LAYOUT_PROGRAMS: dict[str, ProgramMaker] = {
    program.__name__: program
    for program in (
        fields_in_a_row,
        graded_read,
        id_of_next_track,
        measure_zones,
        odd_fields,
        splices,
        sync_pitch,
        sync_run,
        unformatted,
    )
}
