"""Feeds a live run its disk window by window: what the core wrote is read in later revolutions."""

from __future__ import annotations

import os
from typing import Any, TypeAlias

from cocotb.handle import Immediate

from refmodel.ground.depth import quiet_in_reset
from refmodel.ground.stimulus import Stimulus
from refmodel.media.writing import Burst, WriteHead
from refmodel.world.turning import Turning
from testbenches.binding.depth import depth_of
from testbenches.job import Job, LiveHost
from testbenches.recorder import Recorder

Handle: TypeAlias = Any  # a simulator's handle has no type of its own


class Windows:
    """The revolutions of a live run behind the first, each laid out when the core has come to it.

    Time stands still in the harness while it waits for a window.
    """

    def __init__(self, dut: Handle, host: LiveHost, index: int) -> None:
        disk = host.disk
        self._dut = dut
        self._index = index
        self._player = host.player
        self._turning = Turning(disk)
        self._head = WriteHead(disk.scenario.write_protected)
        self._depth = depth_of(host.binding)
        layout, resets = host.profile.status, disk.resets
        self._folder = Job.read(
            os.environ["CELLSTEP_JOB"]
        ).folder  # a core's own files lie elsewhere
        self._recorder = Recorder(host.binding, layout, self._folder, index, resets)
        self._resets = resets
        self._passing = self._at_pins()
        self.written: list[list[Burst]] = []

    async def feed(self) -> None:
        """Hand over one window after another, for as long as the run lasts."""
        asked = self._dut.window_over.value_change
        while True:
            await asked
            self._next()

    def _next(self) -> None:
        """Lay out the next revolution, after what was written in the one before."""
        before = self._passing
        self._take_writes()
        self._passing = self._at_pins()
        file = self._folder / f"{self._index}.window"
        file.write_bytes(self._player.encoded(self._passing, before))
        self._dut.window_end.value = Immediate(self._passing.end)

    def _at_pins(self) -> Stimulus:
        """Return what the next revolution brings to the core's pins."""
        return quiet_in_reset(next(self._turning), self._depth, self._resets)

    def _take_writes(self) -> None:
        """Note what the core wrote in the window that is over."""
        passed = self._passing
        lanes = self._recorder.observed(passed.first, passed.end).lanes
        bursts = self._head.take(lanes["write_gate"], lanes["write_data"], passed.end)
        self._turning.write(bursts)
        self.written.append(bursts)

    def finish(self) -> list[list[Burst]]:
        """Return what was written, revolution by revolution."""
        return [*self.written, []]
