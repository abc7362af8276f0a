"""A run with drives on the model: host program, block, drive lines and drives go on together."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from refmodel.block.registers import RegisterBlock, State
from refmodel.drive.cable import BACK
from refmodel.drive.register import DriveRegister, status_word
from refmodel.engine.edges import EdgeStepper, arrivals
from refmodel.engine.quiet import NEVER
from refmodel.engine.timeline import Timeline
from refmodel.ground.bus import READ_DRIVE, WRITE_DRIVE, BusCycle
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus
from refmodel.host.processor import Processor
from refmodel.profile import Profile
from refmodel.world.cabled import Cabled
from refmodel.world.disk import Disk
from refmodel.world.world import may_write

GATE = ("write_gate", "write_data")


class DriveWorld:
    """Yields a run's spans with the bus cycles its program makes, until its disk's time is over.

    A span is cut short where the program writes drive_lines: what the drives make of it is in the
    next. `cabled` has the drives, and the rules broken.
    """

    def __init__(self, disk: Disk, folder: Path, processor: Processor) -> None:
        self.cabled = Cabled(disk, folder)
        self._player = _Player(disk.profile, processor)
        self._lines = ModelLines(disk.profile)

    def spans(self) -> Iterator[Stimulus]:
        """Yield one span after another; raise UserError as the program and the block do."""
        while not self.cabled.over:
            before = self._player.state
            stimulus = self._player.through(self.cabled.span(self._player.cut))
            self.cabled.take(stimulus.end, self._lines.of(before, stimulus))
            yield stimulus
        self._player.close()
        self.cabled.finish()


class ModelLines:
    """What the model's block and drive register put on a drive's lines, span by span."""

    def __init__(self, profile: Profile) -> None:
        self._register = DriveRegister()
        self._timeline = Timeline(profile)

    def of(self, before: State, stimulus: Stimulus) -> dict[str, Lane]:
        """Return every line of a span the block began in state `before`."""
        lanes = self._register.lanes(stimulus)
        if not may_write(before, stimulus):
            return lanes | dict.fromkeys(GATE, Lane.constant(0, stimulus.first))
        self._timeline.state = before
        lines = self._timeline.run(stimulus).lines
        return lanes | {name: lines[name] for name in GATE}


class _Player:
    """Steps the block through a span while a processor accesses it, up to a drive_lines write."""

    def __init__(self, profile: Profile, processor: Processor) -> None:
        self._stepper = EdgeStepper(RegisterBlock(profile))
        self._processor = processor
        self._read: list[int] = []
        self._status = 0  # drive_status in this span

    @property
    def state(self) -> State:
        """The block's state."""
        return self._stepper.block.state

    @property
    def cut(self) -> int:
        """The cycle a span ends at because the next access writes drive_lines, if it does."""
        pending = self._processor.pending
        return pending[0].cycle + 1 if pending and pending[0].kind == WRITE_DRIVE else NEVER

    def close(self) -> None:
        """Stop the program where it stands."""
        self._processor.close()

    def through(self, stimulus: Stimulus) -> Stimulus:
        """Return the span, or its part up to a write of drive_lines, with the accesses made."""
        self._stepper.memory = stimulus.memory
        self._status = status_word({line: int(stimulus.back[line].value[0]) for line in BACK})
        made: list[BusCycle] = []
        coming = arrivals(stimulus)
        arrival = next(coming)
        while True:
            bus_cycle = self._next_bus_cycle(stimulus.end)
            edge = min(arrival[0], bus_cycle.cycle if bus_cycle else NEVER)
            if edge >= stimulus.end:
                self._stepper.settle(stimulus.end)
                return _with(stimulus, made)
            self._stepper.settle(edge)
            while arrival[0] == edge:
                self._stepper.take(arrival)
                arrival = next(coming)
            if bus_cycle is None or bus_cycle.cycle != edge:
                self._stepper.step()
                continue
            made.append(bus_cycle)
            self._access(bus_cycle)
            if bus_cycle.kind == WRITE_DRIVE:
                return _with(up_to(stimulus, edge + 1), made)

    def _next_bus_cycle(self, end: int) -> BusCycle | None:
        pending = self._processor.pending
        if not pending or pending[len(self._read)].cycle >= end:
            return None
        return pending[len(self._read)]

    def _access(self, bus_cycle: BusCycle) -> None:
        """Step the edge on which a bus cycle falls."""
        at_block = self._stepper.block.status
        self._read.append(self._status if bus_cycle.kind == READ_DRIVE else at_block)
        self._stepper.access(bus_cycle.kind, bus_cycle.mask, bus_cycle.value)
        self._stepper.step()
        if len(self._read) == len(self._processor.pending):
            read, self._read = self._read, []
            self._processor.complete(read)


def up_to(stimulus: Stimulus, end: int) -> Stimulus:
    """Return the part of a span up to a cycle."""
    if end == stimulus.end:
        return stimulus
    part = stimulus.between(stimulus.first, end)
    return replace(part, resets=stimulus.resets, reset_before=stimulus.reset_before)


def _with(stimulus: Stimulus, bus_cycles: list[BusCycle]) -> Stimulus:
    return replace(
        stimulus,
        access_cycle=np.array([b.cycle for b in bus_cycles], np.int64),
        access_kind=np.array([b.kind for b in bus_cycles], np.uint8),
        access_mask=np.array([b.mask for b in bus_cycles], np.uint16),
        access_value=np.array([b.value for b in bus_cycles], np.uint16),
    )
