"""Steps the register block through a stimulus, only on the edges where something happens."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from refmodel.block.inputs import Inputs
from refmodel.block.registers import RegisterBlock, State
from refmodel.block.transfer import own_writing
from refmodel.engine.quiet import NEVER, after_quiet, does_nothing, quiet_edges
from refmodel.ground.bus import READ_STATUS, WRITE_CONTROL, WRITE_SYNC_WORD, WRITE_TRANSFER, acts
from refmodel.ground.moves import check_place, word_at
from refmodel.ground.stimulus import Stimulus

Arrival = tuple[int, str, int]  # edge, input, value


@dataclass(frozen=True, slots=True)
class Edge:
    """One stepped edge: what was sampled, the state and status word before and after.

    `changed` are the levels, and reset, that are not as they were on the edge before.
    """

    cycle: int
    inputs: Inputs
    changed: tuple[str, ...]
    before: State
    after: State
    status_before: int
    status_after: int


def arrivals(stimulus: Stimulus) -> Iterator[Arrival]:
    """Yield the bits, levels and resets of a stimulus in order of edges, then one at `NEVER`."""
    cycles, names = [stimulus.bit_cycle], ["bit"] * len(stimulus.bit)
    values: list[NDArray[np.integer]] = [stimulus.bit]
    for name, lane in stimulus.levels.items():
        part = lane.between(stimulus.first, stimulus.end)
        cycles.append(part.cycle)
        values.append(part.value)
        names += [name] * len(part.cycle)
    resets = np.array([*stimulus.reset_changes()], np.int64).reshape(-1, 2)
    cycles.append(resets[:, 0])
    values.append(resets[:, 1])
    names += ["reset"] * len(resets)
    cycle, value = np.concatenate(cycles), np.concatenate(values)
    order = np.argsort(cycle, kind="stable")
    ordered = (names[i] for i in order.tolist())
    yield from zip(cycle[order].tolist(), ordered, value[order].tolist(), strict=True)
    yield (NEVER, "reset", 0)


def put_access(inputs: Inputs, kind: int, mask: int, value: int) -> None:
    """Put a bus cycle on the inputs of an edge."""
    if kind == READ_STATUS:
        inputs.read_status = 1
    if not acts(kind, mask):
        return
    if kind == WRITE_SYNC_WORD:
        inputs.write_sync_word, inputs.sync_word = mask, value
    elif kind == WRITE_TRANSFER:
        inputs.write_transfer, inputs.transfer = 1, value
    elif kind == WRITE_CONTROL:
        inputs.write_control, inputs.control = 1, value


def take_off(inputs: Inputs) -> None:
    """Take bit and bus cycle off the inputs once their edge has passed; levels stay."""
    inputs.bit_strobe = inputs.read_status = 0
    inputs.write_sync_word = inputs.write_transfer = inputs.write_control = 0


class EdgeStepper:
    """Steps one register block from edge to edge, the first of them `first`.

    Edges between are quiet: the block changes nothing on them. Where it does something by itself,
    such as in a memory slot or while it writes, the edge is stepped without being asked for.
    """

    def __init__(self, block: RegisterBlock, first: int = 0) -> None:
        self.block = block
        self.inputs = Inputs()
        self.memory: NDArray[np.uint16] = np.empty(0, np.uint16)
        self._slots = block.settings.slots
        self._edge = first  # the next edge that has not passed
        self._changed: list[str] = []  # levels put on the inputs for that edge

    def go_on_from(self, stimulus: Stimulus) -> None:
        """Put on the inputs what held before a stimulus, which may follow another.

        That is the levels as it begins, but for those the block's state still shows as they were.
        """
        self.inputs.reset = stimulus.reset_before
        for name, lane in stimulus.levels.items():
            setattr(self.inputs, name, int(lane.at(stimulus.first)))
        rules, state = self.block.rules, self.block.state
        if does_nothing(state.transfer):  # else the block may show a transfer of its own
            self.inputs.dma_active = state.dma_active
            if not own_writing(rules, state.transfer):
                self.inputs.writing = state.writing

    def due(self, edge: int) -> int:
        """Return the first edge before `edge` on which the block does something, else `edge`."""
        at = self._edge
        if at >= edge:
            return edge
        due = at + quiet_edges(self.block.rules, self.block.state, self.inputs)
        if self.block.state.transfer.running:
            due = min(due, self._slots.next_edge(at))
        return min(due, edge)

    def settle(self, edge: int) -> None:
        """Let the edges before `edge` pass, which is the one to be stepped next."""
        while (own := self.due(edge)) < edge:
            self.skip_to(own)
            self.step()
        self.skip_to(edge)

    def skip_to(self, edge: int) -> None:
        """Let the quiet edges before `edge` pass."""
        if edge > self._edge:
            state = after_quiet(self.block.state, edge - self._edge)
            if state is not self.block.state:
                self.block.restore(state)
            self._edge = edge

    def take(self, arrival: Arrival) -> None:
        """Put one arriving bit, level or reset on the inputs."""
        _, name, value = arrival
        if name == "bit":
            self.inputs.bit_strobe = 1
        elif value != getattr(self.inputs, name):
            self._changed.append(name)
        setattr(self.inputs, name, value)

    def access(self, kind: int, mask: int, value: int) -> None:
        """Put a bus cycle on the inputs."""
        put_access(self.inputs, kind, mask, value)

    def step(self) -> None:
        """Step the edge with what has been put on the inputs; take bit and bus cycle off again.

        Raises UserError when a transfer runs past the memory.
        """
        inputs, block = self.inputs, self.block
        transfer = block.state.transfer
        inputs.slot = 0
        if transfer.running or inputs.write_transfer:
            inputs.slot = self._slots.granted(self._edge)
            inputs.slot_data = word_at(self.memory, transfer.memory_index)
        block.advance(inputs)
        if block.moved:
            check_place(self.memory, block.moved.place, self._edge)
        self._edge += 1
        self._changed.clear()
        take_off(inputs)

    def observed(self, edge: int) -> Edge:
        """Step `edge` and return it."""
        self.skip_to(edge)
        before, status_before = self.block.state, self.block.status
        sampled, changed = replace(self.inputs), tuple(self._changed)
        self.step()
        sampled.slot, sampled.slot_data = self.inputs.slot, self.inputs.slot_data
        after, status_after = self.block.state, self.block.status
        return Edge(edge, sampled, changed, before, after, status_before, status_after)


def edges(block: RegisterBlock, stimulus: Stimulus) -> Iterator[Edge]:
    """Yield each edge of the stimulus on which something arrives or the block does something.

    A bit, a bus cycle, a level and a reset arrive. By itself the block shows a match one cycle
    late (policy sync_view=registered), ends a pulse, uses a memory slot, or writes.
    """
    stepper = EdgeStepper(block, stimulus.first)
    stepper.memory = stimulus.memory
    stepper.go_on_from(stimulus)
    coming = arrivals(stimulus)
    arrival = next(coming)
    accesses = iter(
        zip(
            stimulus.access_cycle.tolist(),
            stimulus.access_kind.tolist(),
            stimulus.access_mask.tolist(),
            stimulus.access_value.tolist(),
            strict=True,
        )
    )
    access = next(accesses, None)
    while True:
        edge = min(arrival[0], access[0] if access else NEVER, stimulus.end)
        while (own := stepper.due(edge)) < edge:
            yield stepper.observed(own)
        if edge == stimulus.end:
            stepper.skip_to(edge)
            return
        while arrival[0] == edge:
            stepper.take(arrival)
            arrival = next(coming)
        while access and access[0] == edge:  # a late write may meet a read
            stepper.access(*access[1:])
            access = next(accesses, None)
        yield stepper.observed(edge)
