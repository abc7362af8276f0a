"""The bus of a live host inside the simulator."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeAlias

from cocotb.triggers import ValueChange

from refmodel.errors import UserError
from refmodel.host.bus import BusCycle
from refmodel.host.machine import PLAIN
from refmodel.host.processor import MissingRegisterError, Processor
from testbenches.job import LiveHost, RunDone

Handle: TypeAlias = Any  # a simulator's handle has no type of its own


class LiveBus:
    """Lets a host program access the core itself: one wake-up of Python an access."""

    def __init__(self, dut: Handle, host: LiveHost) -> None:
        self._dut = dut
        self._player = host.player
        self._skipped = self._failed = ""
        self._processor: Processor | None = None
        self._go_on(lambda: self._start(host))
        self._beats: list[BusCycle] = []
        self._end = host.end
        self._request = int(dut.request.value)
        self._drive_words: dict[tuple[int, int, int], int] = {}
        self._place_next()

    async def serve(self) -> None:
        """Answer the core until the run has ended."""
        dut = self._dut
        answer = ValueChange(dut.answer)
        while self._placed:
            await answer
            pending = self._pending
            self._beats += pending
            last = dut.read_value.value.to_unsigned()
            read = [last] if len(pending) == 1 else [dut.read_value_1.value.to_unsigned(), last]
            self._complete(self._words(pending, read))
            self._place_next()
            self._request ^= 1
            dut.request.value = self._request
        await ValueChange(dut.finished)
        if self._processor is not None:
            self._processor.close()

    def done(self, index: int, cycles: int, seconds: float) -> RunDone:
        """Return what became of the run."""
        made = self._processor
        told = (made.accesses, made.told) if made is not None else (0, None)
        return RunDone(index, cycles, seconds, self._beats, *told, self._skipped, self._failed)

    @property
    def _pending(self) -> list[BusCycle]:
        return self._processor.pending if self._processor is not None else []

    def _start(self, host: LiveHost) -> None:
        """Run the program up to its first access."""
        self._processor = Processor(
            host.scenario.program(host.seed),
            host.profile,
            host.shape,
            host.start,
            host.registers,
            host.machine or PLAIN,
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
        """Hand the processor's next access to the harness; none stops the live host."""
        dut, pending = self._dut, self._pending
        self._placed = bool(pending) and pending[-1].cycle < self._end
        dut.live.value = int(self._placed)
        if not self._placed:
            return
        dut.host_cycle.value = pending[0].cycle
        dut.host_drive.value = self._drive_word(pending[0])
        dut.two_beats.value = len(pending) - 1
        if len(pending) > 1:
            dut.host_drive_2.value = self._drive_word(pending[1])

    def _drive_word(self, beat: BusCycle) -> int:
        key = (beat.kind, beat.mask, beat.value)
        if key not in self._drive_words:
            self._drive_words[key] = self._player.access(beat)
        return self._drive_words[key]

    def _words(self, pending: list[BusCycle], read: list[int]) -> list[int]:
        """Return what the bus cycles read, each byte moved to its place in the word."""
        return [
            value << 8 if beat.mask == 0xFF00 and value < 0x100 else value
            for beat, value in zip(pending, read, strict=True)
        ]
