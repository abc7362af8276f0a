"""Host programs that poll, read and write in plain ways, listed in `PROGRAMS` by name."""

from __future__ import annotations

import random
from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass
from typing import Any

from refmodel.host.program import Access, Program, Read, Wait, Word, Write
from refmodel.media.crc import crc16
from refmodel.media.mfm import MARK_A1, decode, word_bits
from refmodel.media.track import A1

TWO_MARKS = bytes.fromhex("44894489")
ID, DATA, DELETED = 0xFE, 0xFB, 0xF8  # address bytes of a sector's fields


def poll_until_ready(cost: int = 32, count: int | None = None) -> Program:
    """Poll status until byte_ready, again and again; return the number of polls for each byte."""
    polls: list[int] = []
    while count is None or len(polls) < count:
        n = 1
        while not (yield Read("status", cost)).byte_ready:
            n += 1
        polls.append(n)
    return polls


def read_every(cycles: int = 100) -> Program:
    """Read status every `cycles` cycles for as long as the scenario lasts."""
    while True:
        yield Read("status", cycles)


def poll_for_sync(cost: int = 7, count: int | None = None) -> Program:
    """Poll status for sync_equal; return how many reads saw each appearance of the flag."""
    seen: list[int] = []
    up = False
    while count is None or len(seen) < count or up:
        equal = (yield Read("status", cost)).sync_equal
        if equal and not up:
            seen.append(0)
        if equal:
            seen[-1] += 1
        up = bool(equal)
    return seen


def rewrite_sync_word(
    sync_words: Sequence[Word] = (MARK_A1,), every: int = 5000, reads: int = 3
) -> Program:
    """Write `sync_words` to sync_word in turn, `every` cycles apart, with reads in between."""
    while sync_words:
        for word in sync_words:
            yield Write("sync_word", word, max(1, every - reads * (every // (reads + 1))))
            for _ in range(reads):
                yield Read("status", max(1, every // (reads + 1)))


def random_accesses(
    seed: int = 0, longest: int = 60, sync_words: Sequence[Word] = (MARK_A1,)
) -> Program:
    """Make accesses of random kinds at random distances of 1 .. `longest` cycles."""
    rng = random.Random(seed)
    while True:
        kind, gap = rng.random(), rng.randint(1, longest)
        if kind < 0.80:
            yield Read("status", gap)
        elif kind < 0.90:
            yield Read("sync_word", gap)
        else:
            yield Write("sync_word", rng.choice(sync_words), gap)


def idle(cycles: int = 1) -> Program:
    """Let the scenario run without touching a register."""
    yield Wait(cycles)


@dataclass(frozen=True)
class HostSector:
    """A sector as the host collected it through status."""

    cylinder: int
    head: int
    number: int
    data: bytes
    crc_ok: bool


def read_sectors(sectors: int = 9, cost: int = 32) -> Program:
    """Collect `sectors` sectors byte by byte through status; return them with their CRC verdicts.

    Needs realignment, so that bytes start behind the sync word. A byte of status is eight channel
    bits, so each byte on the disk arrives as two.
    """
    found: list[HostSector] = []
    size = 0
    header = b""
    while len(found) < sectors:
        field = yield from read_field(cost, {ID: 6, DATA: size + 2, DELETED: size + 2})
        if field[3] == ID and crc16(field) == 0:
            header, size = field[4:8], 128 << (field[7] & 7)
        elif field[3] in (DATA, DELETED) and header:
            cylinder, head, number, _ = header
            found.append(HostSector(cylinder, head, number, field[4:-2], crc16(field) == 0))
            header, size = b"", 0
    return found


def read_field(cost: int, lengths: dict[int, int]) -> Generator[Access, Any, bytes]:
    """Return the next field: three A1, its address byte, and `lengths[address byte]` bytes more."""
    raw = b""
    while raw != TWO_MARKS:
        raw = raw[-3:] + bytes([(yield from _raw_byte(cost))])
    words = [MARK_A1]
    while words == [MARK_A1]:
        words = [(yield from _raw_word(cost))]
    length = lengths.get(decode(word_bits(words))[0], 0)
    for _ in range(length):
        words.append((yield from _raw_word(cost)))
    return A1 + decode(word_bits(words))


def _raw_byte(cost: int) -> Generator[Access, Any, int]:
    """Poll for one byte of eight channel bits."""
    while not (status := (yield Read("status", cost))).byte_ready:
        pass
    return int(status.data)


def _raw_word(cost: int) -> Generator[Access, Any, int]:
    """Poll for the two bytes of channel bits that make one byte of data."""
    high = yield from _raw_byte(cost)
    low = yield from _raw_byte(cost)
    return high << 8 | low


def in_order(accesses: Sequence[Sequence[int | str]] = ()) -> Program:
    """Make the listed accesses: each `[cost, register]` to read or `[cost, register, value]`."""
    for cost, register, *value in accesses:
        if value:
            yield Write(str(register), int(value[0]), int(cost))
        else:
            yield Read(str(register), int(cost))


PROGRAMS: dict[str, Callable[..., Program]] = {
    program.__name__: program
    for program in (
        idle,
        in_order,
        poll_until_ready,
        random_accesses,
        read_every,
        read_sectors,
        rewrite_sync_word,
        poll_for_sync,
    )
}
