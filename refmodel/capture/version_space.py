"""All readings of a capture carried along it together: a reading is dropped where it is refuted.

The block's own `next_state` runs on its policies left open (`forks`). Readings under which it is
in the same state and shows the same are one class; a class divides where answers differ, and
classes become one again where they no longer do.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from operator import attrgetter
from typing import Any

from refmodel.block import registers, transfer
from refmodel.block.inputs import Inputs
from refmodel.block.registers import State
from refmodel.block.slots import Slots
from refmodel.capture.answers import Box
from refmodel.capture.capture_map import LINES
from refmodel.capture.forks import Forks
from refmodel.capture.recorded_edges import (
    LINE_LSB,
    MOVED,
    STORED,
    WORD_LSB,
    AtEdge,
    RecordedEdges,
)
from refmodel.engine import quiet
from refmodel.engine.edges import put_access, take_off
from refmodel.engine.quiet import NEVER, after_quiet
from refmodel.ground.moves import word_at

MOST_CLASSES = 4000  # carried at once
FIELDS = attrgetter(*State.__dataclass_fields__)


@dataclass
class Class:
    """Readings under which the block is in one state, and what it shows there."""

    state: State
    boxes: list[Box]
    shown: int = 0


class TooManyClassesError(Exception):
    """More states are possible than can be carried."""


class Carried:
    """Carries classes of readings along one run, up to any edge and on from there.

    `reached` is the last edge at which a class was refuted.
    """

    def __init__(self, forks: Forks, slots: Slots, run: RecordedEdges, moves: bool = False) -> None:
        self._answers = forks.answers
        self._run = run
        self._slots = slots
        self._forks = forks
        self._next_state = self._forks.through(registers.next_state)  # type: ignore[arg-type]
        self._word = self._forks.through(registers.status_word)  # type: ignore[arg-type]
        self._quiet = self._forks.through(quiet.quiet_edges)  # type: ignore[arg-type]
        self._moves = moves  # whether the words moved were recorded
        self._moved = self._forks.through(transfer.moved)  # type: ignore[arg-type]
        self._edges = run.edges
        self._inputs = Inputs()
        self._now = run.first - 1  # the last edge that has passed
        self._shown = (0, 0)
        self._place = 0
        self.classes: list[Class] = []
        self.reached = run.first
        self.last_boxes: list[Box] = []

    def begin(self, states: Iterable[State], boxes: Sequence[Box]) -> None:
        """Begin with every state possible."""
        self.classes = [Class(state, list(boxes)) for state in states]
        self.last_boxes = list(boxes)

    def copy_to(self, other: Carried) -> None:
        """Let another run, alike up to here, go on from here."""
        other.classes = [Class(c.state, list(c.boxes), c.shown) for c in self.classes]
        other._inputs = replace(self._inputs)
        other._now, other._shown = self._now, self._shown
        other.reached, other.last_boxes = self.reached, self.last_boxes
        other._place = next(
            (n for n, e in enumerate(other._edges) if e > self._now), len(other._edges)
        )

    def until(self, end: int) -> None:
        """Let the edges before `end` pass."""
        end = min(end, self._run.end)
        while self.classes and self._place < len(self._edges) and self._edges[self._place] < end:
            cycle = self._edges[self._place]
            self._own(cycle)
            if self.classes:
                self._at(cycle, self._run.at[cycle])
            self._place += 1
        if self.classes:
            self._own(end)

    def _at(self, cycle: int, edge: AtEdge) -> None:
        """Take what is at an edge."""
        if edge.shown is not None:
            self._shown = edge.shown
        self._take(edge)
        if edge.stirs or min(self._due(one) for one in self.classes) <= cycle:
            self._pass(cycle)
            take_off(self._inputs)
        else:
            self._skip_to(cycle)
        self._keep(cycle, *self._shown)
        self._keep(cycle, *edge.once)

    def _own(self, end: int) -> None:
        """Let the edges before `end` pass on which nothing arrives, but a class may move."""
        while self.classes and self._now < end - 1:
            due = min(self._due(one) for one in self.classes)
            stop = min(due, end)
            self._skip_to(stop - 1)
            if due < end:
                self._pass(due)
                self._keep(due, *self._shown)

    def _skip_to(self, cycle: int) -> None:
        """Let quiet edges pass up to one."""
        if cycle > self._now:
            for one in self.classes:
                one.state = after_quiet(one.state, cycle - self._now)
            self._now = cycle

    def _due(self, one: Class) -> int:
        """Return the first edge on which a class may move by itself."""
        ways = self._forks.ways(
            self._hull(one.boxes),
            lambda: self._quiet(self._forks.rules, one.state, self._inputs),
        )
        due = self._now + 1 + min(value for _, value in ways)
        if one.state.transfer.running:
            due = min(due, self._slots.next_edge(self._now + 1))
        return due if due < NEVER else NEVER

    def _pass(self, cycle: int) -> None:
        """Let all classes pass an edge; those that come together become one."""
        found: dict[Any, Class] = {}
        self._skip_to(cycle - 1)
        for one in self.classes:
            for state, shown, boxes in self._stepped(one, cycle):
                key = (*FIELDS(state), shown)
                if key in found:
                    found[key].boxes += boxes
                else:
                    found[key] = Class(state, boxes, shown)
        if len(found) > MOST_CLASSES:
            raise TooManyClassesError
        self.classes = list(found.values())
        for one in self.classes:
            if len(one.boxes) > 1:
                one.boxes = self._answers.merged(one.boxes)
        self._now = cycle

    def _stepped(self, one: Class, cycle: int) -> Iterator[tuple[State, int, list[Box]]]:
        """Yield the states a class comes to at an edge, with the readings of each."""
        hull = self._hull(one.boxes)
        inputs, path = self._inputs, one.state.transfer
        inputs.slot = 0
        if path.running or inputs.write_transfer:
            inputs.slot = self._slots.granted(cycle)
            inputs.slot_data = word_at(self._run.memory, path.memory_index)
        ways = self._forks.ways(hull, lambda: self._edge(one.state))
        for box, (state, shown) in ways:
            boxes = one.boxes if box == hull else self._answers.within(one.boxes, box)
            if boxes:
                yield state, shown, list(boxes)

    def _edge(self, before: State) -> tuple[State, int]:
        """Return the state behind an edge, and what it shows."""
        rules = self._forks.rules
        state = self._next_state(rules, before, self._inputs)
        move = None
        if self._moves and self._inputs.slot:
            move = self._moved(rules, before.transfer, state.transfer, self._inputs.slot_data)
        state = self._plain(state)
        path = state.transfer
        lines = {
            "write_gate": path.writer.gate,
            "write_data": path.writer.data,
            "sync_found": registers.sync_found(state),
            "transfer_done": path.done,
        }
        shown = self._word(rules, state)
        for name in LINES:
            shown |= lines[name] << LINE_LSB[name]
        if move is not None:
            shown |= MOVED | (STORED if move.store else 0) | move.word << WORD_LSB
        return state, shown

    def _plain(self, state: State) -> State:
        """Return a state without what nothing depends on: counters, the place in memory."""
        path = state.transfer
        memory_index = path.memory_index if self._moves else 0
        if path.lost_words or path.underruns or path.memory_index != memory_index:
            path = path._replace(lost_words=0, underruns=0, memory_index=memory_index)
            return replace(state, transfer=path)
        return state

    def _hull(self, boxes: Sequence[Box]) -> Box:
        """Return the box around several."""
        hull = 0
        for box in boxes:
            hull |= box
        return hull

    def _keep(self, cycle: int, shown: int, mask: int) -> None:
        """Keep the classes that show what was recorded."""
        if not mask:
            return
        kept = [one for one in self.classes if (one.shown ^ shown) & mask == 0]
        if len(kept) < len(self.classes):
            self.last_boxes = [box for one in self.classes for box in one.boxes]
            self.reached = cycle
            self.classes = kept

    def _take(self, edge: AtEdge) -> None:
        """Put on the inputs what arrives at an edge."""
        for _, name, value in edge.arrivals:
            if name == "bit":
                self._inputs.bit_strobe = 1
            setattr(self._inputs, name, value)
        for access in edge.accesses:
            put_access(self._inputs, *access)

    @property
    def signature(self) -> object:
        """What tells it from another that has come as far."""
        classes = (
            (*FIELDS(one.state), one.shown, tuple(sorted(one.boxes))) for one in self.classes
        )
        return frozenset(classes), tuple(map(self._inputs.__getattribute__, Inputs.__slots__))

    @property
    def boxes(self) -> list[Box]:
        """The readings that are left."""
        return self._answers.merged(box for one in self.classes for box in one.boxes)
