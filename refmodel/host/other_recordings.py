"""Host programs that read sectors in recordings other than MFM: FM, and group-coded."""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

from refmodel.block.control import SET, TOP_BIT_FRAMING, WAIT_FOR_SYNC
from refmodel.host.program import Access, Program, ProgramMaker, Read, Write
from refmodel.media.crc import crc16
from refmodel.media.fm import mark_word
from refmodel.media.group import DATA_MARK, HEADER_MARK, from_groups
from refmodel.media.mfm import decode, word_bits
from refmodel.media.sectors import DATA_MARK as DATA
from refmodel.media.sectors import DELETED_MARK, ID_MARK

Steps = Generator[Access, Any, Any]


def fm_sectors(sectors: int = 26, cost: int = 24, cost_sync: int = 6) -> Program:
    """Read FM sectors by polling; count IDs and data fields with a right check code.

    It looks for the mark of an ID with sync_word, then for that of the data, and reads behind it
    two bytes of channel bits a byte.
    """
    yield Write("control", SET | WAIT_FOR_SYNC, cost)
    ids: list[int] = []
    right = deleted = 0
    while len(ids) < sectors:
        field = yield from _field(ID_MARK, 6, cost, cost_sync)
        if crc16(field):
            continue
        ids.append(field[3])
        field = yield from _data_field((128 << (field[4] & 7)) + 2, cost, cost_sync)
        right += crc16(field) == 0
        deleted += field[0] == DELETED_MARK
    yield Write("control", WAIT_FOR_SYNC, cost)
    return {"ids": len(set(ids)), "right": right, "deleted": deleted}


def _field(mark: int, length: int, cost: int, cost_sync: int) -> Steps:
    """Return a mark and the `length` bytes behind it."""
    yield Write("sync_word", mark_word(mark), cost)
    while not (yield Read("status", cost_sync)).sync_equal:
        pass
    return bytes([mark]) + (yield from _words(length, cost))


def _data_field(length: int, cost: int, cost_sync: int) -> Steps:
    """Return the next data field; it is taken for deleted when the mark is not seen in time."""
    yield Write("sync_word", mark_word(DATA), cost)
    bytes_passed = 0
    while not (status := (yield Read("status", cost_sync))).sync_equal:
        bytes_passed += status.byte_ready
        if bytes_passed > 2 * 24:
            return bytes([DELETED_MARK])
    return bytes([DATA]) + (yield from _words(length, cost))


def _words(length: int, cost: int) -> Steps:
    found = bytearray()
    for _ in range(length):
        high = yield from _byte(cost)
        low = yield from _byte(cost)
        found += decode(word_bits(high << 8 | low))
    return bytes(found)


def _byte(cost: int) -> Steps:
    """Return the next byte of eight channel bits."""
    while not (status := (yield Read("status", cost))).byte_ready:
        pass
    return int(status.data)


def group_sectors(
    sectors: int = 10, size: int = 256, cost: int = 24, patience: int = 100_000_000
) -> Program:
    """Read group-coded sectors, bytes framed by their top bit; count right headers and data.

    It gives up after `patience` cycles.
    """
    yield Write("control", SET | TOP_BIT_FRAMING, cost)
    numbers: list[int] = []
    right = 0
    last: tuple[int, ...] = ()
    header_groups, data_groups = (-(-8 * n // 6) for n in (5, size + 2))
    status = yield Read("status", cost)
    end = status.cycle + patience
    while (len(numbers) < sectors or last) and status.cycle < end:
        status = yield Read("status", cost)
        if not status.byte_ready:
            continue
        last = (*last[-2:], int(status.data))
        if last == HEADER_MARK:
            header = from_groups((yield from _groups(header_groups, cost)), 5)
            if header and crc16(header) == 0:
                numbers.append(header[2])
        elif last == DATA_MARK:
            data = from_groups((yield from _groups(data_groups, cost)), size + 2)
            right += bool(data) and crc16(data or b"") == 0
            last = ()
    return {"headers": len(set(numbers)), "right": right}


def _groups(count: int, cost: int) -> Steps:
    groups = []
    for _ in range(count):
        groups.append((yield from _byte(cost)))
    return groups


OTHER_RECORDINGS: dict[str, ProgramMaker] = {
    program.__name__: program for program in (fm_sectors, group_sectors)
}
