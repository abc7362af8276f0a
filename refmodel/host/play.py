"""Plays a host program against the model, to learn which bus cycles it makes and when."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from refmodel.block.profile import Profile
from refmodel.block.registers import Inputs, RegisterBlock
from refmodel.engine.stimulus import Stimulus
from refmodel.host.bus import READ_STATUS, WRITE_SYNC_WORD, BusCycle
from refmodel.host.processor import Processor

NEVER = 1 << 62
Arrival = tuple[int, str, int]  # edge, input, value


class ModelPlayer:
    """Steps the register block through disk stimuli while a processor accesses it.

    Only edges on which something arrives are stepped, and the one after: every other edge is
    quiet and changes nothing.
    """

    def __init__(self, profile: Profile, processor: Processor) -> None:
        self._block = RegisterBlock(profile)
        self._processor = processor
        self._inputs = Inputs()
        self._read: list[int] = []  # what the access under way has read so far
        self._stepped = -1  # the last edge stepped

    def play(self, disk: Iterable[Stimulus]) -> Iterator[Stimulus]:
        """Yield each stimulus again with the bus cycles the program makes in it."""
        for stimulus in disk:
            yield with_accesses(stimulus, self._through(stimulus))
        self._processor.close()

    def _through(self, stimulus: Stimulus) -> list[BusCycle]:
        """Step through one stimulus; return the bus cycles made in it."""
        made: list[BusCycle] = []
        arrivals = _arrivals(stimulus)
        arrival = next(arrivals)
        while True:
            beat = self._next_beat(stimulus.end)
            edge = min(arrival[0], beat.cycle if beat else NEVER)
            if edge == NEVER:
                return made
            if edge > self._stepped + 1:
                self._block.step(self._inputs)
            self._stepped = edge
            while arrival[0] == edge:
                self._take(arrival)
                arrival = next(arrivals)
            if beat and beat.cycle == edge:
                made.append(beat)
                self._access(beat)
            else:
                self._step()

    def _next_beat(self, end: int) -> BusCycle | None:
        """Return the next bus cycle if it falls before `end`."""
        pending = self._processor.pending
        if not pending or pending[len(self._read)].cycle >= end:
            return None
        return pending[len(self._read)]

    def _take(self, arrival: Arrival) -> None:
        """Put one arriving bit, level or reset on the inputs."""
        _, name, value = arrival
        if name == "bit":
            self._inputs.bit_strobe = 1
        setattr(self._inputs, name, value)

    def _access(self, beat: BusCycle) -> None:
        """Step the edge on which the processor's bus cycle falls."""
        self._read.append(self._block.status)
        self._inputs.read_status = 1 if beat.kind == READ_STATUS else 0
        self._inputs.write_sync_word = 1 if beat.kind == WRITE_SYNC_WORD else 0
        self._inputs.sync_word = beat.value
        self._step()
        self._inputs.read_status = self._inputs.write_sync_word = 0
        if len(self._read) == len(self._processor.pending):
            read, self._read = self._read, []
            self._processor.complete(read)

    def _step(self) -> None:
        self._block.step(self._inputs)
        self._inputs.bit_strobe = 0


def _arrivals(stimulus: Stimulus) -> Iterator[Arrival]:
    """Yield what arrives in a stimulus in order of edges, then one arrival at `NEVER`."""
    cycles, names, values = [stimulus.bit_cycle], ["bit"] * len(stimulus.bit), [stimulus.bit]
    for name, lane in stimulus.levels.items():
        part = lane.between(stimulus.first, stimulus.end)
        cycles.append(part.cycle)
        values.append(part.value)
        names += [name] * len(part.cycle)
    resets = [edge for span in stimulus.resets for edge in span]
    cycles.append(np.array(resets, np.int64))
    values.append(np.array([1, 0] * len(stimulus.resets)))
    names += ["reset"] * len(resets)
    cycle, value = np.concatenate(cycles), np.concatenate(values)
    order = np.argsort(cycle, kind="stable")
    ordered = (names[i] for i in order.tolist())
    yield from zip(cycle[order].tolist(), ordered, value[order].tolist(), strict=True)
    yield (NEVER, "reset", 0)


def with_accesses(stimulus: Stimulus, beats: list[BusCycle]) -> Stimulus:
    """Return the stimulus with these bus cycles in it."""
    return replace(
        stimulus,
        access_cycle=np.array([b.cycle for b in beats], np.int64),
        access_kind=np.array([b.kind for b in beats], np.uint8),
        access_mask=np.array([b.mask for b in beats], np.uint16),
        access_value=np.array([b.value for b in beats], np.uint16),
    )
