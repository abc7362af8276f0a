"""The processor that runs a host program: it places each access in time, on a bus of some shape."""

from __future__ import annotations

import traceback
from bisect import bisect_right
from collections import deque
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from operator import itemgetter
from pathlib import Path
from typing import Any

from refmodel.drive.lines import DriveView
from refmodel.ground.bus import (
    DRIVE_LINES,
    DRIVE_STATUS,
    READ_DRIVE,
    READ_OTHER,
    READ_STATUS,
    READ_STATUS_PART,
    WORD_BUS,
    WRITE_DRIVE,
    WRITE_KINDS,
    BusCycle,
    BusShape,
)
from refmodel.ground.errors import UserError, near
from refmodel.ground.word import WORD
from refmodel.host.lacking import NOTHING, Lacking, MissingRegisterError, writing_waits
from refmodel.host.machine import PLAIN, Machine
from refmodel.host.program import Access, Program, Read, StatusView, Wait, Write
from refmodel.profile import Profile

REGISTERS = ("status", "sync_word", "transfer", "control")
DRIVE = "drive"  # read like a register, answered by the drive; no bus cycle reaches the core
ENDLESS = 1_000_000  # waits in a row without an access: the program will make none
PACKAGE = Path(__file__).parents[1]
REMEMBERED = 4  # of the last accesses


@dataclass(frozen=True)
class Unfinished:
    """A program that had not ended when its disk or its accesses ran out.

    `recent` are its last accesses: cycle, access, and the word a read returned.
    """

    accesses: int
    recent: tuple[tuple[int, Access, int | None], ...]


def _failure(error: Exception) -> str:
    """Say how a program failed, and in which line of its file."""
    if isinstance(error, UserError):
        return str(error)
    frames = traceback.extract_tb(error.__traceback__)
    own = [f for f in frames if PACKAGE not in Path(f.filename).parents]
    where = (own or frames)[-1]
    return f"{Path(where.filename).name}:{where.lineno}: {type(error).__name__}: {error}"


def _behind_a_write(program: Program, sync_word: int) -> Program:
    """Give sync_word its first value, which it has not by reset, and go on with the program."""
    yield Write("sync_word", sync_word, cost=1)
    return (yield from program)


class Processor:
    """Runs one program. `pending` holds the bus cycles of its next access, none when it ended.

    Whoever owns the bus carries them out in the cycles they name and calls `complete` with what
    was read; time is the program's own: an access comes `cost` cycles after the end of the one
    before, the first one `cost` cycles after edge `start`; `machine` can stretch that. An access
    to a register that is not in `registers` raises MissingRegisterError. One that `lacking` leaves
    out takes its time and nothing else. Where reset leaves sync_word alone, it is written before
    anything else.

    On a byte-wide bus where reading the data byte clears byte_ready, a read of status takes the
    byte with the flags, and that of the data only when byte_ready is up in it: a host that read
    both would clear, unseen, a byte that completes in between. Without it a read returns the data
    of the last one.
    """

    def __init__(
        self,
        program: Program,
        profile: Profile,
        shape: BusShape = WORD_BUS,
        start: int = 0,
        registers: Collection[str] = REGISTERS,
        machine: Machine = PLAIN,
        lacking: Lacking = NOTHING,
    ) -> None:
        self._machine = machine
        self._lacking = lacking
        self._recent: deque[tuple[int, Access, int | None]] = deque(maxlen=REMEMBERED)
        self._registers = registers
        self._program = program
        if "sync_word" in profile.reset_leaves and "sync_word" in registers:
            self._program = _behind_a_write(program, profile.reset.sync_word)
        if machine.waits:
            self._program = writing_waits(self._program, machine.waits, start)
        self._layout = profile.status
        self._shape = shape
        self._now = start
        self.accesses = 0
        self.ended = False
        self.result: Any = None
        self.pending: list[BusCycle] = []
        self._access: Access | None = None
        ready = profile.status["byte_ready"].mask
        apart = len(shape.status) > 1 and not ready & shape.clears
        self._ready = ready if apart else 0  # the flag to see before the byte that clears it
        self._flags: int | None = None  # what was read of status before that byte
        self._data = 0
        self._continue(None)

    def complete(self, read: Sequence[int]) -> None:
        """Take what the pending bus cycles read (whole words; only masked bits count)."""
        access, bus_cycles = self._access, self.pending
        self._now = bus_cycles[-1].cycle + self._shape.busy
        assert access is not None
        if bus_cycles[0].kind == READ_STATUS_PART and self._ready and self._takes_data(read[0]):
            return
        self.accesses += 1
        if isinstance(access, Write):
            self._recent.append((bus_cycles[0].cycle, access, None))
            self._continue(None)
            return
        word = 0
        for bus_cycle, value in zip(bus_cycles, read, strict=True):
            word |= value & bus_cycle.mask
        if self._ready and bus_cycles[-1].kind in (READ_STATUS, READ_STATUS_PART):
            word = self._with_other_byte(word, bus_cycles[-1])
        self._recent.append((bus_cycles[0].cycle, access, word))
        self._continue(StatusView(word, self._layout, bus_cycles[-1].cycle))

    def _takes_data(self, flags: int) -> bool:
        """Place the read of the data byte when the flags just read say there is one."""
        if not flags & self._ready:
            return False
        self._flags = flags & ~self._shape.clears
        self.pending = self._clear_of_resets(
            self._now + 1, lambda cycle: [BusCycle(cycle, READ_STATUS, self._shape.clears)]
        )
        return True

    def _with_other_byte(self, word: int, bus_cycle: BusCycle) -> int:
        """Return a whole status: the flags read before the data, or the data read last."""
        if bus_cycle.kind == READ_STATUS:
            self._data = word
            flags, self._flags = self._flags or 0, None
            return flags | word
        return word | self._data

    @property
    def looks(self) -> bool:
        """Whether the bus cycles of a read depend on what it finds."""
        return self._ready != 0

    @property
    def access(self) -> Access | None:
        """The access under way, or the last one."""
        return self._access

    @property
    def returned(self) -> Any:  # noqa: ANN401 - whatever a program returns
        """What the program returned, or how far it came."""
        return self.result if self.ended else Unfinished(self.accesses, tuple(self._recent))

    def close(self) -> None:
        """Stop the program where it stands."""
        self._program.close()
        self.pending = []

    def _continue(self, answer: StatusView | DriveView | None) -> None:
        """Run the program up to its next access; UserError names it when it cannot go on."""
        try:
            self._run(answer)
        except UserError as error:
            raise UserError(f"{self._machine.program}: {error}") from error

    def _run(self, answer: StatusView | DriveView | None) -> None:
        """Run the program up to its next access."""
        self.pending = []
        if self.accesses >= self._machine.limit:
            self.close()
            return
        for _ in range(ENDLESS):
            try:
                access = self._program.send(answer)
            except StopIteration as stop:
                self.ended, self.result = True, stop.value
                return
            except Exception as error:
                raise UserError(_failure(error)) from error
            if isinstance(access, Read) and access.register == DRIVE:
                answer = self._look(access)
                if answer is None:
                    self.close()
                    return
                continue
            if isinstance(access, Read | Write) and access.register in self._lacking.left_out:
                answer = self._leave_out(access)
                continue
            if not isinstance(access, Wait):
                self._access = access
                self.pending = self._bus_cycles(access)
                return
            if access.cycles < 0:
                raise UserError(f"Wait({access.cycles}): time cannot run backwards")
            self._now += access.cycles
            answer = None
        raise UserError(f"{ENDLESS} waits in a row without an access")

    def _leave_out(self, access: Read | Write) -> StatusView | None:
        """Let the time of an access pass that the core has no register for; a read finds 0."""
        cycle = self._cycle_of(access)
        self._now = cycle + self._shape.busy
        if isinstance(access, Write):
            self._check(access)
            return None
        return StatusView(0, self._layout, cycle)

    def _look(self, access: Read) -> DriveView | None:
        """Return what the drive shows when the access comes; None after the end of the run."""
        drive = self._machine.drive
        if drive is None:
            raise UserError(f"{access!r}: there is no drive here")
        self._now = self._cycle_of(access)
        return drive.view(self._now) if self._now < drive.end else None

    def _status_bus_cycles(self, cycle: int) -> list[BusCycle]:
        """Return the bus cycles of a read of status; of two bytes, those known from the start."""
        if not self._ready:
            return self._shape.read_status(cycle)
        return [BusCycle(cycle, READ_STATUS_PART, WORD & ~self._shape.clears)]

    def _cycle_of(self, access: Read | Write) -> int:
        """Return the cycle in which an access begins."""
        if access.cost < 1:
            raise UserError(f"{access!r}: cost must be 1 cycle or more")
        return self._shape.free(self._machine.timing.after(self._now, access.cost))

    def _bus_cycles(self, access: Access) -> list[BusCycle]:
        """Return the bus cycles of one access."""
        if not isinstance(access, Read | Write):
            raise UserError(f"it yielded {access!r}; yield Read, Write or Wait")
        known = (*REGISTERS, DRIVE_LINES, DRIVE_STATUS)
        if access.register not in known:
            hint = near(access.register, known)
            raise UserError(f"no register '{access.register}'{hint}")
        if access.register not in self._registers:
            raise MissingRegisterError(access.register)
        access = self._lacking.of_transfer(access)
        if isinstance(access, Write):
            self._check(access)
        return self._clear_of_resets(
            self._cycle_of(access), lambda cycle: self._bus_cycles_at(access, cycle)
        )

    def _clear_of_resets(self, cycle: int, at: Callable[[int], list[BusCycle]]) -> list[BusCycle]:
        """Return the bus cycles of an access from `cycle` on, or behind a reset that cuts one."""
        while True:
            found = at(cycle)
            behind = self._end_of_reset(found)
            if behind is None:
                return found
            cycle = self._shape.free(self._machine.timing.after(behind - 1, 1))

    def _end_of_reset(self, bus_cycles: Sequence[BusCycle]) -> int | None:
        """Return the end of the first reset that cuts one of these short, None if none does."""
        resets, shape = self._machine.resets, self._shape
        if shape.over_at_once and not shape.in_halves:
            return None
        for bus_cycle in bus_cycles:
            ahead = bisect_right(resets, bus_cycle.cycle, key=itemgetter(1))
            for start, stop in resets[ahead : ahead + 1]:
                if shape.cut(bus_cycle, start, stop) or shape.parted(bus_cycles, stop):
                    return stop
        return None

    def _bus_cycles_at(self, access: Read | Write, cycle: int) -> list[BusCycle]:
        """Return the bus cycles of an access that begins in a cycle."""
        if isinstance(access, Read):
            if access.register == "status":
                return self._status_bus_cycles(cycle)
            kind = READ_DRIVE if access.register == DRIVE_STATUS else READ_OTHER
            return [BusCycle(cycle, kind)]
        if access.register == DRIVE_LINES:
            return [BusCycle(cycle, WRITE_DRIVE, value=access.value)]
        return self._shape.write(access.register, cycle, access.value)

    @staticmethod
    def _check(access: Write) -> None:
        """Raise UserError for a register that cannot be written, or a value that does not fit."""
        if access.register not in (*WRITE_KINDS, DRIVE_LINES):
            raise UserError(f"{access!r}: the register is read only")
        if not 0 <= access.value <= WORD:
            raise UserError(f"{access!r}: the value is not in 0 .. 0xFFFF")
