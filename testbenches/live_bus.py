"""The bus of a live host inside the simulator."""

from __future__ import annotations

from typing import Any, TypeAlias

from cocotb.triggers import ValueChange

from refmodel.host.bus import BusCycle
from refmodel.host.machine import PLAIN
from refmodel.host.processor import Processor
from testbenches.job import LiveHost

Handle: TypeAlias = Any  # a simulator's handle has no type of its own


class LiveBus:
    """Lets a host program access the core itself: one wake-up of Python an access."""

    def __init__(self, dut: Handle, host: LiveHost) -> None:
        self._dut = dut
        self._player = host.player
        self.processor = Processor(
            host.scenario.program(host.seed),
            host.profile,
            host.shape,
            host.start,
            host.registers,
            host.machine or PLAIN,
        )
        self.beats: list[BusCycle] = []
        self._end = host.end
        self._request = int(dut.request.value)
        self._drive_words: dict[tuple[int, int, int], int] = {}
        self._place_next()

    async def serve(self) -> None:
        """Answer the core until the run has ended."""
        dut, processor = self._dut, self.processor
        answer = ValueChange(dut.answer)
        while self._placed:
            await answer
            pending = processor.pending
            self.beats += pending
            last = dut.read_value.value.to_unsigned()
            read = [last] if len(pending) == 1 else [dut.read_value_1.value.to_unsigned(), last]
            processor.complete(self._words(pending, read))
            self._place_next()
            self._request ^= 1
            dut.request.value = self._request
        await ValueChange(dut.finished)
        processor.close()

    def _place_next(self) -> None:
        """Hand the processor's next access to the harness; none stops the live host."""
        dut, pending = self._dut, self.processor.pending
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
