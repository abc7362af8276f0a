"""Host programs that find a sector by its ID field, then read or write its data by transfer."""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

from refmodel.block.arming import ENABLE, WRITE
from refmodel.block.control import PRECOMPENSATION, SET, WAIT_FOR_SYNC
from refmodel.host.program import Access, Program, ProgramMaker
from refmodel.host.program import Write as Put
from refmodel.host.programs import ID, read_field
from refmodel.host.transfer_programs import WORD_CYCLES, arm, until_done
from refmodel.media.crc import crc16

MARKS_STORED = 2  # of the three A1 of a field: the first match is not stored (B10)
FRAME_BYTES = 3  # address byte and CRC
GAP_2_CYCLES = 22 * 227  # 22 bytes of gap between an ID field and the data field's sync


def read_sector_by_transfer(
    number: int = 1, size: int = 512, cost: int = 32, arming: int = 2
) -> Program:
    """Read the data field of a sector into memory; return its ID field.

    Memory receives two A1, the address byte, `size` bytes and the CRC, one word of channel bits
    each. `arming` is how often transfer is written, and `cost` the time of each access.
    """
    yield Put("control", SET | WAIT_FOR_SYNC, cost)
    identity = yield from _find(number, cost)
    yield from arm(ENABLE | MARKS_STORED + FRAME_BYTES + size, arming, cost)
    yield from until_done(cost, 2 * GAP_2_CYCLES + (FRAME_BYTES + size) * WORD_CYCLES)
    yield Put("transfer", 0, cost)
    return identity.hex(" ")


def write_sector_by_transfer(
    number: int = 1,
    words: int = 532,
    precompensation: int = 0,
    gap: int = GAP_2_CYCLES,
    tail: int = 1200,
    cost: int = 32,
    arming: int = 2,
) -> Program:
    """Write `words` words from memory over the data field of a sector; return its ID field.

    Memory holds the whole field from its sync on. The write starts `gap` cycles behind the ID and
    is stopped `tail` cycles after the last word was fetched, when the FIFO has been written.
    """
    yield Put("control", SET | WAIT_FOR_SYNC | precompensation << PRECOMPENSATION.lsb, cost)
    identity = yield from _find(number, cost)
    for n in range(arming):
        yield Put("transfer", ENABLE | WRITE | words, gap if n == 0 else cost)
    yield from until_done(cost, words * WORD_CYCLES)
    yield Put("transfer", 0, tail)
    return identity.hex(" ")


def write_and_read_sector(
    number: int = 1,
    size: int = 512,
    words: int = 532,
    precompensation: int = 0,
    gap: int = GAP_2_CYCLES,
    tail: int = 1200,
    cost: int = 32,
    arming: int = 2,
) -> Program:
    """Write `words` words from memory over a sector's data field, then read it back into memory.

    The words read lie behind those written. Return the sector's ID field, as found both times.
    """
    first = yield from write_sector_by_transfer(
        number, words, precompensation, gap, tail, cost, arming
    )
    yield Put("control", PRECOMPENSATION.mask, cost)
    second = yield from read_sector_by_transfer(number, size, cost, arming)
    return [first, second]


def _find(number: int, cost: int) -> Generator[Access, Any, bytes]:
    """Read ID fields through status until that of a sector comes, its CRC right."""
    while True:
        field = yield from read_field(cost, {ID: 6})
        if field[3] == ID and field[6] == number and crc16(field) == 0:
            return field[3:]


SECTOR_PROGRAMS: dict[str, ProgramMaker] = {
    program.__name__: program
    for program in (read_sector_by_transfer, write_sector_by_transfer, write_and_read_sector)
}
