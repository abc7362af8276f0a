"""Steps the register block through a stimulus, only on the edges where something arrives."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from refmodel.block.registers import Inputs, RegisterBlock, State
from refmodel.engine.stimulus import Stimulus
from refmodel.host.bus import READ_STATUS, WRITE_SYNC_WORD

NEVER = 1 << 62
Arrival = tuple[int, str, int]  # edge, input, value


@dataclass(frozen=True, slots=True)
class Edge:
    """One stepped edge: what was sampled, the state and status word before and after."""

    cycle: int
    inputs: Inputs
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
    resets = [edge for span in stimulus.resets for edge in span]
    cycles.append(np.array(resets, np.int64))
    values.append(np.array([1, 0] * len(stimulus.resets), np.int64))
    names += ["reset"] * len(resets)
    cycle, value = np.concatenate(cycles), np.concatenate(values)
    order = np.argsort(cycle, kind="stable")
    ordered = (names[i] for i in order.tolist())
    yield from zip(cycle[order].tolist(), ordered, value[order].tolist(), strict=True)
    yield (NEVER, "reset", 0)


class EdgeStepper:
    """Steps one register block from edge to edge.

    Edges between are quiet: `RegisterBlock` changes nothing on them once one quiet edge has passed
    (the registered view of policy sync_view), so that one is stepped and the others are not.
    """

    def __init__(self, block: RegisterBlock, first: int = 0) -> None:
        self.block = block
        self.inputs = Inputs()
        self._stepped = first - 1

    def settle(self, edge: int) -> None:
        """Let the quiet edges before `edge` pass."""
        if edge > self._stepped + 1:
            self.block.step(self.inputs)
        self._stepped = edge

    def take(self, arrival: Arrival) -> None:
        """Put one arriving bit, level or reset on the inputs."""
        _, name, value = arrival
        if name == "bit":
            self.inputs.bit_strobe = 1
        setattr(self.inputs, name, value)

    def access(self, kind: int, mask: int, value: int) -> None:
        """Put a bus cycle on the inputs."""
        self.inputs.read_status = 1 if kind == READ_STATUS else 0
        self.inputs.write_sync_word = mask if kind == WRITE_SYNC_WORD else 0
        self.inputs.sync_word = value

    def step(self) -> None:
        """Step the edge with what has been put on the inputs; take bit and bus cycle off again."""
        inputs = self.inputs
        self.block.step(inputs)
        inputs.bit_strobe = inputs.read_status = inputs.write_sync_word = 0


def edges(block: RegisterBlock, stimulus: Stimulus) -> Iterator[Edge]:
    """Yield each edge of the stimulus on which a bit, a bus cycle, a level or a reset arrives.

    `block` is stepped through them; with policy sync_view=registered the edge behind each bit,
    on which the flag follows, is yielded as well.
    """
    stepper = EdgeStepper(block, stimulus.first)
    coming = arrivals(stimulus)
    arrival = next(coming)
    beats = iter(
        zip(
            stimulus.access_cycle.tolist(),
            stimulus.access_kind.tolist(),
            stimulus.access_mask.tolist(),
            stimulus.access_value.tolist(),
            strict=True,
        )
    )
    beat = next(beats, None)
    last = stimulus.first - 1
    while True:
        edge = min(arrival[0], beat[0] if beat else NEVER, stimulus.end)
        before, status_before = block.state, block.status
        stepper.settle(edge)
        if block.state is not before:
            sampled = replace(stepper.inputs)
            yield Edge(last + 1, sampled, before, block.state, status_before, block.status)
            before, status_before = block.state, block.status
        if edge == stimulus.end:
            return
        while arrival[0] == edge:
            stepper.take(arrival)
            arrival = next(coming)
        if beat and beat[0] == edge:
            stepper.access(*beat[1:])
            beat = next(beats, None)
        sampled = replace(stepper.inputs)
        stepper.step()
        yield Edge(edge, sampled, before, block.state, status_before, block.status)
        last = edge
