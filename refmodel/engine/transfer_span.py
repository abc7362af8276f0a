"""A span's stimulus as a transfer sees it, and the notes of what the transfer shows in it."""

from __future__ import annotations

from bisect import bisect_right
from itertools import repeat

import numpy as np

from refmodel.block.arming import LENGTH
from refmodel.block.framing import Framed
from refmodel.block.inputs import Inputs
from refmodel.block.registers import RegisterBlock
from refmodel.block.transfer import (
    Transfer,
    moved,
    next_transfer,
    own_dma_active,
    own_writing,
)
from refmodel.engine.framing import Framing
from refmodel.engine.happened import at_last_bit, doing_of
from refmodel.engine.quiet import NEVER
from refmodel.ground.bus import WRITE_TRANSFER
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.moves import Moves, check_place, word_at
from refmodel.ground.stimulus import Stimulus

SHOWN = (
    "dma_active",
    "writing",
    "write_gate",
    "write_data",
    "transfer_done",
    "lost_words",
    "underruns",
)


class Steps:
    """A lane for look-ups one at a time."""

    def __init__(self, lane: Lane) -> None:
        self._cycles: list[int] = lane.cycle.tolist()
        self._values: list[int] = lane.value.tolist()

    def at(self, cycle: int) -> int:
        """Return the value in a cycle."""
        return self._values[bisect_right(self._cycles, cycle) - 1]

    def next_change(self, cycle: int, end: int) -> int:
        """Return the first cycle after `cycle` and before `end` with another value, else `end`."""
        after = bisect_right(self._cycles, cycle)
        return min(self._cycles[after], end) if after < len(self._cycles) else end


class OutputChanges:
    """What one output shows, as it is found out; in order of cycles."""

    def __init__(self) -> None:
        self.cycles: list[int] = []
        self.values: list[int] = []

    def add(self, cycle: int, value: int) -> None:
        """Note the value from a cycle on."""
        self.cycles.append(cycle)
        self.values.append(value)

    def pulses(self, cycles: Cycles) -> None:
        """Note a pulse of one cycle in each of `cycles`."""
        self.cycles += (np.repeat(cycles, 2) + np.tile((0, 1), len(cycles))).tolist()
        self.values += [1, 0] * len(cycles)

    def lane(self, end: int) -> Lane:
        """Return what is noted before cycle `end` as a lane."""
        cycles, values = np.array(self.cycles, np.int64), np.array(self.values, np.uint32)
        inside = cycles < end
        return Lane.of(cycles[inside], values[inside])


class TransferSpan:
    """A span's stimulus as the transfer sees it, and the notes of what comes of it."""

    def __init__(
        self,
        stimulus: Stimulus,
        block: RegisterBlock,
        framing: Framing,
        waits: Lane,
        control: Lane,
        gates: Lane,
    ) -> None:
        self.rules = block.rules
        self.first, self.end = stimulus.first, stimulus.end
        self.bit_cycle = stimulus.bit_cycle
        self.framing = framing
        self.waits, self.control, self.gates = Steps(waits), Steps(control), Steps(gates)
        self.gates_lane = gates
        self.slots_open = True  # whether the gates let a slot be used where a stretch is computed
        self._slots = block.settings.slots
        self.memory = stimulus.memory
        self.shown = {name: OutputChanges() for name in SHOWN}
        self.doing = OutputChanges()
        self.word_ends: list[int] = []
        self._gate_changes: list[int] = gates.cycle.tolist()
        self._writes = transfer_writes(stimulus)
        self._moves: list[tuple[int, int, int, int]] = []

    def disturbances(self) -> list[int]:
        """Return the edges to be stepped one by one; the first of the span is one of them."""
        return sorted({self.first, *self._gate_changes, *self._writes})

    def step(self, transfer: Transfer, edge: int) -> Transfer:
        """Step one edge with all that arrives on it."""
        framed = self._framed(edge)
        inputs = Inputs(
            master_enable=self.gates.at(edge),
            write_transfer=1 if edge in self._writes else 0,
            transfer=self._writes.get(edge, 0),
            slot=self._slots.granted(edge),
            slot_data=word_at(self.memory, transfer.memory_index),
            bit_strobe=1 if framed else 0,
        )
        return self.take(transfer, inputs, edge, framed or Framed())

    def take(self, before: Transfer, inputs: Inputs, edge: int, framed: Framed) -> Transfer:
        """Take the path through one edge; note what the slot moves and what is shown."""
        waits, control = self.waits.at(edge), self.control.at(edge)
        if inputs.bit_strobe and at_last_bit(before):
            self.word_ends.append(edge)
        after = next_transfer(self.rules, before, inputs, framed, waits, control)
        move = moved(self.rules, before, after, inputs.slot_data)
        if move:
            self.move(edge, *move)
        self.show(edge, after, inputs.gates)
        return after

    def next_slot(self, edge: int) -> int:
        """Return the first edge from `edge` on with a slot that can be used, `NEVER` for none."""
        return self._slots.next_edge(edge) if self.slots_open else NEVER

    @staticmethod
    def to_go(transfer: Transfer) -> int:
        """Return how many words a transfer has still to move; its length 0 stands for 2 ** 14."""
        return (transfer.length or LENGTH + 1) if transfer.running else 0

    def show(self, cycle: int, transfer: Transfer, gates: int = 1) -> None:
        """Note all that a transfer shows from a cycle on."""
        values = (
            own_dma_active(self.rules, transfer, gates),
            own_writing(self.rules, transfer),
            transfer.writer.gate,
            transfer.writer.data,
            transfer.done,
            transfer.lost_words,
            transfer.underruns,
        )
        for changes, value in zip(self.shown.values(), values, strict=True):
            changes.add(cycle, value)
        self.doing.add(cycle, doing_of(transfer))

    def ended(self, cycle: int, transfer: Transfer) -> None:
        """Note that the last word was moved on an edge: dma_active may fall, the pulse stands."""
        self.shown["dma_active"].add(cycle, own_dma_active(self.rules, transfer, 1))
        self.shown["transfer_done"].add(cycle, 1)
        self.shown["transfer_done"].add(cycle + 1, 0)
        self.doing.add(cycle, doing_of(transfer))

    def move(self, cycle: int, place: int, word: int, store: int) -> None:
        """Note a word moved; raise UserError when its place is behind the end of memory."""
        check_place(self.memory, place, cycle)
        self._moves.append((cycle, place, word, store))

    def stored(self, edges: list[int], place: int, words: list[int]) -> None:
        """Note words stored at `place` and behind it; raise UserError as `move` does."""
        room = max(len(self.memory) - place, 0)
        if room < len(edges):
            check_place(self.memory, place + room, edges[room])
        places = range(place, place + len(edges))
        self._moves.extend(zip(edges, places, words, repeat(1), strict=False))

    def moves(self) -> Moves:
        """Return the words moved."""
        if not self._moves:
            return Moves()
        cycle, place, word, store = zip(*self._moves, strict=True)
        return Moves(
            np.array(cycle, np.int64),
            np.array(place, np.int64),
            np.array(word, np.uint16),
            np.array(store, np.uint8),
        )

    def _framed(self, edge: int) -> Framed | None:
        """Return what the channel bit on an edge is to the transfer, None without one."""
        index = int(np.searchsorted(self.bit_cycle, edge))
        if index == len(self.bit_cycle) or self.bit_cycle[index] != edge:
            return None
        return Framed(
            window=int(self.framing.window[index]),
            match=int(self.framing.match[index]),
            restart=int(self.framing.restart[index]),
        )


def transfer_writes(stimulus: Stimulus) -> dict[int, int]:
    """Return the words written to transfer, by edge."""
    return {cycle: value for cycle, _, value in stimulus.writes(WRITE_TRANSFER)}
