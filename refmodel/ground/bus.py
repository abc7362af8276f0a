"""The bus cycles a host access takes: one on a word-wide bus, two on a byte-wide one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.word import WORD

HIGH, LOW = 0xFF00, 0x00FF
ELSEWHERE = 1  # no mask of a register, nor of a read that goes on
Kinds = NDArray[np.integer]


class BusKind(IntEnum):
    """Kinds of bus cycle (column `access_kind` of a stimulus).

    One that is unused, with a mask of ELSEWHERE, is another device's: the core is not selected.
    """

    READ_STATUS = 0  # reads status and clears byte_ready (B5)
    READ_STATUS_PART = 1  # reads the part of status that clears nothing
    READ_OTHER = 2  # reads some other register: no effect, value not modelled
    READ_UNUSED = 3  # reads the address `value`, at which nothing is read: no effect
    READ_DRIVE = 4  # reads the lines that come back from the drive, beside the block
    WRITE_SYNC_WORD = 5
    WRITE_TRANSFER = 6  # acts when its mask has the low byte; the value is the whole word then
    WRITE_CONTROL = 7  # likewise
    WRITE_UNUSED = 8  # writes to the address `value`, at which nothing is written: no effect
    WRITE_DRIVE = 9  # sets the lines to the drive, beside the block


READ_STATUS, READ_STATUS_PART, READ_OTHER, READ_UNUSED, READ_DRIVE = tuple(BusKind)[:5]
WRITE_SYNC_WORD, WRITE_TRANSFER, WRITE_CONTROL, WRITE_UNUSED, WRITE_DRIVE = tuple(BusKind)[5:]
DRIVE_LINES, DRIVE_STATUS = "drive_lines", "drive_status"  # registers beside the block
WRITE_KINDS = {
    "sync_word": WRITE_SYNC_WORD,
    "transfer": WRITE_TRANSFER,
    "control": WRITE_CONTROL,
}
WRITTEN = {int(kind): register for register, kind in WRITE_KINDS.items()}
WRITTEN[int(WRITE_DRIVE)] = DRIVE_LINES


def reads(kind: Kinds) -> NDArray[np.bool_]:
    """Return which bus cycles read a register; all others write one."""
    return np.asarray(kind) <= READ_DRIVE


def is_read(kind: int) -> bool:
    """Return whether a bus cycle reads a register."""
    return kind <= READ_DRIVE


def reads_status(kind: Kinds) -> NDArray[np.bool_]:
    """Return which bus cycles read status or a part of it."""
    return np.asarray(kind) <= READ_STATUS_PART


def acts(kind: int, mask: int) -> bool:
    """Return whether a bus cycle's write takes effect at its edge.

    Each byte of sync_word does; transfer and control act as a whole, with the low byte.
    """
    return kind == WRITE_SYNC_WORD or (kind in (WRITE_TRANSFER, WRITE_CONTROL) and mask & LOW != 0)


@dataclass(frozen=True, slots=True)
class BusCycle:
    """One cycle on the bus: the register bits it carries, and what a write puts there."""

    cycle: int
    kind: int
    mask: int = WORD
    value: int = 0


@dataclass(frozen=True, slots=True)
class BusShape:
    """How one access to each register is laid out in bus cycles, in the order they happen.

    `status`, `sync_word`, `transfer` and `control` hold the register bits each bus cycle carries;
    `clears` is the part of status whose reading clears byte_ready. The low byte of transfer and
    of control comes last: the whole word acts then (B9, B13). A bus cycle lasts `hold` cycles, and
    `idle` pass before the next at least. A read has its answer `read_latency` cycles after the
    cycle its bus cycle begins in; no earlier is an access over. A host that writes the words for
    the disk itself does so at each edge n for which n modulo `fed_every` is in `fed`, and makes no
    other access there; its core has no transfer to memory.

    A core still has to do with a read or a write `read_lasts` or `write_lasts` edges behind its
    first. What it makes of one that a reset cuts short is its own business, so the host makes
    none: none during which a reset ends, and with `whole` none that meets a reset at all. Nor does
    a reset end between the two bytes of transfer or control: what holds the first may be reset.
    """

    status: tuple[int, ...] = (WORD,)
    clears: int = WORD
    sync_word: tuple[int, ...] = (WORD,)
    transfer: tuple[int, ...] = (WORD,)
    control: tuple[int, ...] = (WORD,)
    read_latency: int = 0
    hold: int = 1
    idle: int = 0
    fed_every: int = 1
    fed: tuple[int, ...] = ()
    read_lasts: int = 0
    write_lasts: int = 0
    whole: bool = False

    @property
    def over_at_once(self) -> bool:
        """Whether the core has done with every bus cycle at its first edge."""
        return not (self.read_lasts or self.write_lasts)

    def cut(self, bus_cycle: BusCycle, start: int, stop: int) -> bool:
        """Return whether a reset at edges `start` .. `stop` - 1 cuts a bus cycle short."""
        lasts = self.read_lasts if is_read(bus_cycle.kind) else self.write_lasts
        last = bus_cycle.cycle + lasts
        met = lasts > 0 and bus_cycle.cycle < stop and start <= last
        return met and (self.whole or stop <= last)

    @property
    def in_halves(self) -> bool:
        """Whether transfer or control is written byte by byte."""
        return max(len(self.transfer), len(self.control)) > 1

    def parted(self, bus_cycles: Sequence[BusCycle], stop: int) -> bool:
        """Return whether a reset that ends at edge `stop` parts the two bytes of such a write."""
        first, last = bus_cycles[0], bus_cycles[-1]
        halves = first.kind in (WRITE_TRANSFER, WRITE_CONTROL)
        return halves and first.cycle < stop <= last.cycle

    def free(self, cycle: int) -> int:
        """Return the first cycle from `cycle` on in which the host writes no word for the disk."""
        late = range(self.fed_every + 1)
        return next(
            (cycle + n for n in late if (cycle + n) % self.fed_every not in self.fed), cycle
        )

    @property
    def step(self) -> int:
        """Cycles from the beginning of a bus cycle to that of the next one of the same access."""
        return self.hold + self.idle

    @property
    def busy(self) -> int:
        """Cycles that must have passed since an access's last bus cycle began before a new one."""
        return max(self.hold - 1, self.read_latency) + self.idle

    def read_status(self, cycle: int) -> list[BusCycle]:
        """Return the bus cycles of a read of status, the first at `cycle`."""
        return [
            BusCycle(
                cycle + n * self.step,
                READ_STATUS if mask == self.clears else READ_STATUS_PART,
                mask,
            )
            for n, mask in enumerate(self.status)
        ]

    def write(self, register: str, cycle: int, value: int) -> list[BusCycle]:
        """Return the bus cycles of a write of a register, the first at `cycle`.

        Both bytes of transfer and control have the whole word with them: a core may have its
        fields in other places.
        """
        if register == "sync_word":
            return self.write_sync_word(cycle, value)
        parts = self.transfer if register == "transfer" else self.control
        return [
            BusCycle(
                cycle + n * self.step,
                WRITE_KINDS[register],
                mask,
                value,
            )
            for n, mask in enumerate(parts)
        ]

    def write_sync_word(self, cycle: int, value: int) -> list[BusCycle]:
        """Return the bus cycles of a write of sync_word, each of which takes effect at once."""
        return [
            BusCycle(cycle + n * self.step, WRITE_SYNC_WORD, mask, value & mask)
            for n, mask in enumerate(self.sync_word)
        ]


WORD_BUS = BusShape()
