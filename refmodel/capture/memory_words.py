"""What a capture shows beside status: words moved to and from memory, and lines that pulse."""

from __future__ import annotations

import numpy as np

from refmodel.block.slots import Slots
from refmodel.capture.map_parts import LinesPart, PulseLine
from refmodel.engine.evidence import Moved
from refmodel.ground.lane import Cycles, Lane, cycles_up
from refmodel.ground.moves import Moves

ROOM = 1 << 22  # words that a run may move
NO_WORDS = np.zeros(1 << 16, np.uint16)  # where memory was not recorded
MOST_SLOTS = 64  # of a line


class MemoryWords:
    """The words a run moves: `memory` has those fetched, in order, as a model will ask for them."""

    def __init__(self, recorded: bool) -> None:
        self._recorded = recorded
        self.memory = np.zeros(ROOM, np.uint16) if recorded else NO_WORDS
        self._count = 0

    def moved(
        self, value: dict[str, Lane], unknown: dict[str, Lane], first: int, end: int
    ) -> Moved | None:
        """Return the words moved at edges `first` .. `end - 1`, None where memory is not mapped."""
        if not self._recorded:
            return None
        cycle = cycles_up(value["memory_slot"].between(first, end), end)
        cycle = cycle[value["memory_request"].at(cycle) != 0]
        store = value["memory_store"].at(cycle) != 0
        words, x_bits = (
            np.where(store, lanes["memory_data_out"].at(cycle), lanes["memory_data_in"].at(cycle))
            for lanes in (value, unknown)
        )
        place = self._count + np.arange(len(cycle))
        fetched = ~store & (place < ROOM)
        self.memory[place[fetched]] = words[fetched]
        self._count += len(cycle)
        moves = Moves(cycle, place, words.astype(np.uint16), store.astype(np.uint8))
        return moves, x_bits.astype(np.int64) & 0xFFFF


def slots_of(edges: Cycles, given: Slots) -> Slots | None:
    """Return the schedule of slots granted at some edges, None if they do not come again and again.

    Where the given one fits from some edge on, that is taken; else the shortest that does.
    """
    if len(edges) < 3:
        return given
    line = given.line_cycles
    turned = (edges[0] - np.array(given.at)) % line
    for turn in turned.tolist():
        at = tuple(sorted((place + turn) % line for place in given.at))
        if _granted(edges, Slots(line_cycles=line, at=at)):
            return Slots(line_cycles=line, at=at)
    apart = np.diff(edges)
    for count in range(1, min(MOST_SLOTS, len(apart) // 2) + 1):
        if np.array_equal(apart[count:], apart[:-count]):
            line = int(apart[:count].sum())
            at = tuple(sorted({int(edge) % line for edge in edges[:count]}))
            return Slots(line_cycles=line, at=at)
    return None


def _granted(edges: Cycles, slots: Slots) -> bool:
    """Tell whether a schedule grants slots at these edges, and at no other between them."""
    line = slots.line_cycles
    every = np.arange(edges[0] // line, edges[-1] // line + 1)[:, None] * line + np.array(slots.at)
    every = every[(every >= edges[0]) & (every <= edges[-1])]
    return np.array_equal(np.sort(every.ravel()), edges)


def as_pulses(lane: Lane, lines: LinesPart, name: str) -> Lane:
    """Return an output line in the model's form: a pulse of a cycle where it pulses or changes.

    A pulse of another length than the map says stays as it is, so that it shows as a mismatch.
    """
    line = getattr(lines, name, None)
    if not isinstance(line, PulseLine) or (line.form == "pulse" and line.cycles == 1):
        return lane
    first = int(lane.cycle[0])
    if line.form == "toggle":
        at = lane.cycle[1:]
        cycle = np.concatenate(([first], np.repeat(at, 2) + np.tile((0, 1), len(at))))
        return _in_order(cycle, np.concatenate(([0], np.tile((1, 0), len(at)))))
    length = np.diff(lane.cycle)
    short = np.flatnonzero((lane.value[:-1] != 0) & (length == line.cycles))
    cycle = lane.cycle.copy()
    cycle[short + 1] = cycle[short] + 1
    return Lane(cycle, lane.value)


def _in_order(cycle: Cycles, value: np.ndarray) -> Lane:
    """Return a lane of pulses; one that begins where another ends joins it."""
    order = np.lexsort((value, cycle))
    return Lane.of(cycle[order], value[order])
