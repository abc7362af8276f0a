"""Plays a host program against the model, to learn which bus cycles it makes and when."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from refmodel.block.registers import RegisterBlock
from refmodel.engine.edges import EdgeStepper, arrivals
from refmodel.engine.quiet import NEVER
from refmodel.ground.bus import BusCycle
from refmodel.ground.stimulus import Stimulus
from refmodel.host.processor import REGISTERS, Processor
from refmodel.profile import Profile
from refmodel.world.disk import Disk


class ModelPlayer:
    """Steps the register block through disk stimuli while a processor accesses it."""

    def __init__(self, profile: Profile, processor: Processor) -> None:
        self._stepper = EdgeStepper(RegisterBlock(profile))
        self._processor = processor
        self._read: list[int] = []  # what the access under way has read so far

    def play(self, disk: Iterable[Stimulus]) -> Iterator[Stimulus]:
        """Yield each stimulus again with the bus cycles the program makes in it."""
        for stimulus in disk:
            yield with_accesses(stimulus, self._through(stimulus))
        self._processor.close()

    def _through(self, stimulus: Stimulus) -> list[BusCycle]:
        """Step through one stimulus; return the bus cycles made in it."""
        made: list[BusCycle] = []
        self._stepper.memory = stimulus.memory
        coming = arrivals(stimulus)
        arrival = next(coming)
        while True:
            beat = self._next_beat(stimulus.end)
            edge = min(arrival[0], beat.cycle if beat else NEVER)
            if edge == NEVER:
                self._stepper.settle(stimulus.end)
                return made
            self._stepper.settle(edge)
            while arrival[0] == edge:
                self._stepper.take(arrival)
                arrival = next(coming)
            if beat and beat.cycle == edge:
                made.append(beat)
                self._access(beat)
            else:
                self._stepper.step()

    def _next_beat(self, end: int) -> BusCycle | None:
        """Return the next bus cycle if it falls before `end`."""
        pending = self._processor.pending
        if not pending or pending[len(self._read)].cycle >= end:
            return None
        return pending[len(self._read)]

    def _access(self, beat: BusCycle) -> None:
        """Step the edge on which the processor's bus cycle falls."""
        self._read.append(self._stepper.block.status)
        self._stepper.access(beat.kind, beat.mask, beat.value)
        self._stepper.step()
        if len(self._read) == len(self._processor.pending):
            read, self._read = self._read, []
            self._processor.complete(read)


def result_on_model(disk: Disk, registers: Collection[str] = REGISTERS) -> Any:  # noqa: ANN401
    """Return what a disk's host program returns when it meets the model, or how far it came."""
    processor = disk.processor(registers=registers)
    for _ in ModelPlayer(disk.profile, processor).play(disk.revolutions()):
        if processor.ended:
            break
    return processor.told


def with_accesses(stimulus: Stimulus, beats: list[BusCycle]) -> Stimulus:
    """Return the stimulus with these bus cycles in it."""
    return replace(
        stimulus,
        access_cycle=np.array([b.cycle for b in beats], np.int64),
        access_kind=np.array([b.kind for b in beats], np.uint8),
        access_mask=np.array([b.mask for b in beats], np.uint16),
        access_value=np.array([b.value for b in beats], np.uint16),
    )
