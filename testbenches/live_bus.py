"""The bus of a live host inside the simulator."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, TypeAlias

import cocotb
from cocotb.handle import Immediate
from cocotb.triggers import First

from refmodel.ground.bus import HIGH, READ_DRIVE, BusCycle
from refmodel.ground.errors import UserError
from refmodel.host.lacking import MissingRegisterError
from refmodel.host.machine import PLAIN
from refmodel.host.processor import Processor
from refmodel.host.program import said
from testbenches.job import LONGEST_LIVE, LiveHost, RunDone
from testbenches.windows import Windows

Handle: TypeAlias = Any  # a simulator's handle has no type of its own

NEVER = LONGEST_LIVE + 1  # a cycle no live run comes to


class LiveBus:
    """Lets a host program access the core itself: one wake-up of Python an access."""

    def __init__(self, dut: Handle, host: LiveHost, index: int) -> None:
        self._dut = dut
        self._host_cycle = dut.host_cycle
        self._read_values = (dut.read_value_1, dut.read_value)
        self._player = host.player
        self._registers = host.drive_registers
        self._skipped = self._failed = ""
        self._processor: Processor | None = None
        self._go_on(lambda: self._start(host))
        self._bus_cycles: list[BusCycle] = []
        self._end = host.end
        self._windows = Windows(dut, host, index) if host.disk is not None else None
        self._acts = host.acknowledged
        self._drive_words: dict[tuple[int, int, int], Immediate[int]] = {}
        self._driven: list[Immediate[int]] = []  # as the harness has them
        dut.live.value = 1

    async def serve(self) -> None:
        """Answer the core until the run has ended, and lay out the disk's later revolutions."""
        feeding = cocotb.start_soon(self._windows.feed()) if self._windows else None
        await self._serve()
        if feeding is not None:
            feeding.cancel()

    async def _serve(self) -> None:
        """Answer the core until the run has ended.

        Called when time has passed since the start: Verilator sets its variables to their first
        values then, and a value that is there at once would be lost.
        """
        self._place_next()
        answer, finished = self._dut.answer.value_change, self._dut.finished.value_change
        before = int(self._dut.finished.value)
        while self._placed:
            await (First(answer, finished) if self._acts else answer)
            if self._acts and (self._stuck or int(self._dut.finished.value) != before):
                break  # the core has not answered
            pending = self._answered() if self._acts else self._taken()
            self._complete(self._read(pending))
            self._place_next()
        if int(self._dut.finished.value) == before:
            await finished
        if self._processor is not None:
            self._processor.close()

    @property
    def _stuck(self) -> int:
        return int(self._dut.stuck.value)

    def _taken(self) -> list[BusCycle]:
        """Return the access's bus cycles, which were as long as planned."""
        self._bus_cycles += self._pending
        return self._pending

    def _answered(self) -> list[BusCycle]:
        """Return the access's bus cycles as the core has answered them; note when they count."""
        dut, pending = self._dut, self._pending
        times = {
            name: [int(getattr(dut, f"{name}{end}").value) for end in ("_1", "")][-len(pending) :]
            for name in ("begun", "ack_cycle")
        }
        counted = times["begun" if self._acts == "first" else "ack_cycle"]
        self._bus_cycles += [replace(b, cycle=at) for b, at in zip(pending, counted, strict=True)]
        ended = [replace(b, cycle=at) for b, at in zip(pending, times["ack_cycle"], strict=True)]
        assert self._processor is not None
        self._processor.pending = ended
        return ended

    def done(self, index: int, cycles: int, seconds: float) -> RunDone:
        """Return what became of the run."""
        made = self._processor
        ended = (made.accesses, made.returned) if made is not None else (0, None)
        written = self._windows.finish() if self._windows else []
        faults = (self._skipped, self._failed)
        waiting = said(made.access) if made is not None and made.access else ""
        return RunDone(
            index, cycles, seconds, self._bus_cycles, *ended, *faults, written, waiting=waiting
        )

    @property
    def _pending(self) -> list[BusCycle]:
        return self._processor.pending if self._processor is not None else []

    def _start(self, host: LiveHost) -> None:
        """Run the program up to its first access."""
        self._processor = Processor(
            host.scenario.program(host.seed, host.profile),
            host.profile,
            host.shape,
            host.start,
            host.registers,
            host.machine or PLAIN,
            host.lacking,
        )

    def _complete(self, read: list[int]) -> None:
        """Run the program up to its next access; there is none when it cannot go on."""
        processor = self._processor
        assert processor is not None
        self._go_on(lambda: processor.complete(read))

    def _go_on(self, step: Callable[[], None]) -> None:
        """Take a step of the program, and note why it cannot go on."""
        try:
            step()
        except MissingRegisterError as error:
            self._skipped = str(error)
        except UserError as error:
            self._failed = str(error)

    def _place_next(self) -> None:
        """Hand the processor's next access to the harness; none stops the live host.

        Every value is there at once: time in the harness stands still until it has the cycle.
        """
        pending = self._pending
        self._placed = bool(pending) and pending[-1].cycle < self._end
        if self._placed:
            self._drive([self._drive_word(bus_cycle) for bus_cycle in pending])
        self._host_cycle.value = Immediate(pending[0].cycle if self._placed else NEVER)

    def _drive(self, words: list[Immediate[int]]) -> None:
        """Hand over what the bus cycles drive, unless the harness has it from the last access."""
        if words == self._driven:
            return
        dut, self._driven = self._dut, words
        dut.host_drive.value, dut.host_drive_2.value = words[0], words[-1]
        dut.two_bus_cycles.value = Immediate(len(words) - 1)

    def _drive_word(self, bus_cycle: BusCycle) -> Immediate[int]:
        key = (bus_cycle.kind, bus_cycle.mask, bus_cycle.value)
        if key not in self._drive_words:
            self._drive_words[key] = Immediate(self._player.access(bus_cycle))
        return self._drive_words[key]

    def _read(self, pending: list[BusCycle]) -> list[int]:
        """Return what the bus cycles read, each byte moved to its place in the word.

        A bit that is X or Z reads as 0 here; the record of the read has it.
        """
        read = [int(handle.value) for handle in self._read_values[-len(pending) :]]
        return [
            self._value(bus_cycle, value) for bus_cycle, value in zip(pending, read, strict=True)
        ]

    def _value(self, bus_cycle: BusCycle, value: int) -> int:
        """Return what a bus cycle read, in the model's places."""
        if bus_cycle.kind == READ_DRIVE and self._registers is not None:
            return int(self._registers.read(value))
        return value << 8 if bus_cycle.mask == HIGH and value < 0x100 else value
