"""Plays a host program against the model, to learn which bus cycles it makes and when."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from heapq import heappop, heappush

import numpy as np

from refmodel.block.registers import RegisterBlock, State
from refmodel.engine.edges import EdgeStepper, arrivals
from refmodel.engine.quiet import NEVER
from refmodel.ground.bus import BusCycle, is_read
from refmodel.ground.depth import PLAIN, Inside
from refmodel.ground.stimulus import Stimulus
from refmodel.host.processor import Processor
from refmodel.profile import Profile


class ModelPlayer:
    """Steps the register block through disk stimuli while a processor accesses it.

    Stimuli and bus cycles are those at the pins; `inside` says when the block has them.
    """

    def __init__(
        self, profile: Profile, processor: Processor, inside: Inside | None = None
    ) -> None:
        self._stepper = EdgeStepper(RegisterBlock(profile))
        self._processor = processor
        self._inside = inside or Inside(PLAIN)
        self._depth = self._inside.depth
        self._due: list[tuple[int, int, BusCycle, bool]] = []  # edge, count, bus cycle, answers
        self._begun = 0  # bus cycles of the access under way
        self._pushed = 0
        self._read: list[int] = []  # what the access under way has read so far

    @property
    def state(self) -> State:
        """The block's state."""
        return self._stepper.block.state

    def play(self, disk: Iterable[Stimulus]) -> Iterator[Stimulus]:
        """Yield each stimulus again with the bus cycles the program makes in it."""
        for stimulus in disk:
            yield self.through(stimulus)
        self.close()

    def through(self, stimulus: Stimulus) -> Stimulus:
        """Step through one stimulus; return it with the bus cycles the program made in it."""
        return with_accesses(stimulus, self._through(stimulus))

    def close(self) -> None:
        """Stop the program where it stands."""
        self._processor.close()

    def _through(self, stimulus: Stimulus) -> list[BusCycle]:
        """Step through one stimulus; return the bus cycles begun in it."""
        made: list[BusCycle] = []
        self._stepper.memory = stimulus.memory
        coming = arrivals(self._inside.take(stimulus))
        arrival = next(coming)
        while True:
            bus_cycle = self._next_bus_cycle()
            edge = min(
                arrival[0],
                bus_cycle.cycle if bus_cycle else NEVER,
                self._due[0][0] if self._due else NEVER,
            )
            if edge >= stimulus.end:
                self._stepper.settle(stimulus.end)
                return made
            self._stepper.settle(edge)
            while arrival[0] == edge:
                self._stepper.take(arrival)
                arrival = next(coming)
            if bus_cycle and bus_cycle.cycle == edge:
                made.append(bus_cycle)
                self._begin(bus_cycle)
            self._carry_out(edge)
            self._stepper.step()
            self._go_on()

    def _next_bus_cycle(self) -> BusCycle | None:
        """Return the next bus cycle to begin, if there is one."""
        pending = self._processor.pending
        return pending[self._begun] if self._begun < len(pending) else None

    def _begin(self, bus_cycle: BusCycle) -> None:
        """Note when a bus cycle that begins now counts; a write asks for no answer."""
        self._begun += 1
        late = self._depth.of(bus_cycle.kind)
        for n, at in enumerate(self._depth.acts):
            answers = n == 0 and is_read(bus_cycle.kind)
            heappush(self._due, (bus_cycle.cycle + at + late, self._pushed, bus_cycle, answers))
            self._pushed += 1
        if not is_read(bus_cycle.kind):
            self._read.append(0)

    def _carry_out(self, edge: int) -> None:
        """Put on the block's inputs what counts at an edge."""
        while self._due and self._due[0][0] == edge:
            _, _, bus_cycle, answers = heappop(self._due)
            if answers:
                self._read.append(self._stepper.block.status)
            if not self._inside.lost(edge - self._depth.of(bus_cycle.kind), edge):
                self._stepper.access(bus_cycle.kind, bus_cycle.mask, bus_cycle.value)

    def _go_on(self) -> None:
        """Hand the processor what its access read, when all of it has been answered."""
        if self._read and len(self._read) == len(self._processor.pending):
            read, self._read, self._begun = self._read, [], 0
            self._processor.complete(read)


def with_accesses(stimulus: Stimulus, bus_cycles: list[BusCycle]) -> Stimulus:
    """Return the stimulus with these bus cycles in it."""
    return replace(
        stimulus,
        access_cycle=np.array([b.cycle for b in bus_cycles], np.int64),
        access_kind=np.array([b.kind for b in bus_cycles], np.uint8),
        access_mask=np.array([b.mask for b in bus_cycles], np.uint16),
        access_value=np.array([b.value for b in bus_cycles], np.uint16),
    )
