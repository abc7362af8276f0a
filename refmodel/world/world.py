"""A run on the model: disk, host program and block go on together, and what is written is read."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any

from refmodel.block.arming import WRITE
from refmodel.block.registers import State
from refmodel.engine.timeline import Timeline
from refmodel.ground.bus import WRITE_TRANSFER
from refmodel.ground.depth import PLAIN, Depth, Inside, quiet_in_reset
from refmodel.ground.stimulus import Stimulus
from refmodel.host.processor import REGISTERS, Processor
from refmodel.media.writing import Burst, WriteHead
from refmodel.world.disk import Disk
from refmodel.world.play import ModelPlayer
from refmodel.world.turning import Turning


class World:
    """A scenario's disk, a host program and the block, span by span: a span is a revolution.

    The program accesses the block while the disk turns under it; `depth` says how many edges lie
    between the pins, at which both are given, and the block. Where the block's write gate
    was open, later revolutions read what it wrote, unless the disk is write-protected.
    """

    def __init__(self, disk: Disk, processor: Processor, depth: Depth = PLAIN) -> None:
        self._disk = disk
        self._depth = depth
        self._turning = Turning(disk)
        self._player = ModelPlayer(disk.profile, processor, Inside(depth, disk.resets))
        self._inside = Inside(depth, disk.resets)
        self._timeline = Timeline(disk.profile)
        self._head = WriteHead(disk.scenario.write_protected)

    def spans(self) -> Iterator[tuple[Stimulus, list[Burst]]]:
        """Yield each revolution's stimulus, its bus cycles in it, and what was written in it.

        Raises UserError as the program and the block do.
        """
        player = self._player
        for passing in self._turning:
            before = player.state
            at_pins = quiet_in_reset(passing, self._depth, self._disk.resets)
            stimulus = player.through(at_pins)
            bursts = self._written(before, self._inside.take(stimulus))
            self._turning.write(bursts)
            yield stimulus, bursts
        player.close()

    @property
    def problem(self) -> str:
        """What a write-protected disk refused; empty when nothing was."""
        return self._head.problem

    def _written(self, before: State, stimulus: Stimulus) -> list[Burst]:
        """Return what the block wrote in a span it began in state `before`."""
        if not may_write(before, stimulus):
            return []
        self._timeline.state = before
        lines = self._timeline.run(stimulus).lines
        return self._head.take(lines["write_gate"], lines["write_data"], stimulus.end)


def may_write(before: State, stimulus: Stimulus) -> bool:
    """Return whether the write gate may open: a write transfer is under way, or asked for."""
    transfer = before.transfer
    asked = stimulus.access_value[stimulus.access_kind == WRITE_TRANSFER] & WRITE
    return bool(transfer.write or transfer.writer.active or asked.any())


def result_on_model(disk: Disk, registers: Collection[str] = REGISTERS) -> Any:  # noqa: ANN401
    """Return what a disk's host program returns when it meets the model, or how far it came."""
    processor = disk.processor(registers=registers)
    for _ in World(disk, processor).spans():
        if processor.ended:
            break
    return processor.returned
