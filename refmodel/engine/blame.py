"""Which clause a core breaks, from what the model saw on the way to the mismatch."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from refmodel.block.arming import ENABLE, LENGTH
from refmodel.block.fields import UNUSED
from refmodel.block.registers import RegisterBlock, State
from refmodel.block.rules import Rules
from refmodel.engine.compare import MEMORY, Mismatch
from refmodel.engine.edges import Edge, edges
from refmodel.engine.evidence import Observed
from refmodel.engine.happened import at_last_bit
from refmodel.ground.clauses import CLAUSE_OF
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.word import WORD_BITS
from refmodel.profile import Profile

TRANSFER_FIELDS = ("dma_active", "transfer_done", MEMORY, "write_gate", "write_data")
LEVELS = ("dma_active", "writing")  # a read that is wrong in one has not seen it sampled
MANY = 1 << 30


@dataclass
class Trail:
    """What the model did on the way to the mismatch, as far as it tells clauses apart.

    A field that is observed was right up to there: the core can do what the model did. `here` is
    the edge of the mismatching cycle, if anything happened on it.
    """

    rules: Rules
    here: Edge | None = None
    last: Edge | None = None
    moves_since_gates: int = MANY  # words moved since a transfer met a gate that changed
    bits_since_start: int = 0  # since the last start or stop
    moves_since_start: int = 0  # words it has moved, on edges before the last
    left_over: bool = False  # a start or stop met words in the FIFO, and none moved since
    empty: bool = False  # the last start was one of no words
    stopped: bool = False  # the last of them was a stop
    started: bool = False  # a transfer, at any time
    in_a_row: bool = False  # the last write of transfer was accepted
    again: bool = False  # and so was the one before it
    control_written: bool = False  # when it held something, or has since
    met_write: bool = False  # since the last byte a bit matched the old sync_word, or the new alone
    overwrote: bool = False  # an unread byte, with another one
    tied: bool = False  # a byte completed on the edge of a read

    def follow(self, edge: Edge) -> None:
        """Take one more edge of the model's way."""
        if self.last is not None and completes_byte(self.last):
            self._follow_byte(self.last)
        inputs, last = edge.inputs, self.last
        self.moves_since_start += last is not None and moves(last) and not self._cut_off(last)
        self.moves_since_gates += moves(edge)
        if self._gates_change(edge, last):
            self.moves_since_gates = 0
        self.bits_since_start += inputs.bit_strobe
        if self.starts(edge) or self.stops(edge):
            ends = bool(inputs.bit_strobe) and at_last_bit(edge.before.transfer)
            waited = moves(edge) or ends or edge.before.transfer.fifo.used > 0
            self.left_over = waited or (self.left_over and not self.moves_since_start)
            self.bits_since_start = inputs.bit_strobe
            self.moves_since_start = 0
            self.stopped = self.stops(edge)
            self.empty = not self.stopped and not inputs.transfer & LENGTH
            self.again, self.in_a_row = self.in_a_row, not self.stopped
        self.started |= bool(edge.before.transfer.running) or self.starts(edge)
        held = edge.before.control or edge.after.control
        self.control_written |= bool(inputs.write_control and held)
        if inputs.write_sync_word and inputs.bit_strobe:
            window, words = edge.after.window, (edge.before.sync_word, edge.after.sync_word)
            self.met_write |= words[0] != words[1] and window in words
        self.last = edge

    def starts(self, edge: Edge) -> bool:
        """Return whether a write of transfer is accepted on the edge (B9)."""
        enable = edge.inputs.write_transfer and edge.inputs.transfer & ENABLE
        return bool(enable) and edge.before.transfer.armed + 1 >= self.rules.arming_writes

    @staticmethod
    def stops(edge: Edge) -> bool:
        """Return whether transfer is written with enable clear (B9)."""
        return bool(edge.inputs.write_transfer) and not edge.inputs.transfer & ENABLE

    def _cut_off(self, edge: Edge) -> bool:
        """Return whether a word moved on the edge belongs to a transfer that ends there (B9)."""
        begins = self.rules.start_acts == "next_edge" and self.starts(edge)
        return begins or self.stops(edge)

    def _follow_byte(self, edge: Edge) -> None:
        """Take a completed byte that is behind."""
        self.met_write = False
        if edge.inputs.read_status:
            self.tied = True
        elif edge.before.byte_ready and edge.before.data != edge.after.data:
            self.overwrote = True

    @staticmethod
    def _gates_change(edge: Edge, last: Edge | None) -> bool:
        """Return whether a gate is not as it was on the edge before, and a transfer meets it."""
        transfer = edge.before.transfer
        meets = transfer.running or transfer.fifo.used or transfer.writer.active
        return bool(meets) and last is not None and edge.inputs.gates != last.inputs.gates


def clause_of(mismatch: Mismatch, trail: Trail, observed: Observed) -> str:
    """Return the clause the core breaks."""
    field, here = mismatch.field, trail.here
    if field == UNUSED:
        return CLAUSE_OF[UNUSED]
    if here is not None and here.inputs.reset:
        return "B14"
    if mismatch.through == "read" and field in observed.lanes and field not in LEVELS:
        return "B5"  # the register was right: its read did not return it
    if field in ("data", "byte_ready"):
        clause = _framing_clause(mismatch, trail, observed)
        by_control = trail.control_written and not trail.met_write
        return "B13" if clause == "B4" and by_control else clause
    stopped = here is not None and here.inputs.write_transfer and not here.after.transfer.enable
    if field in TRANSFER_FIELDS or (field == "writing" and stopped):
        return _transfer_clause(mismatch, trail, observed)
    return CLAUSE_OF[field]


def _transfer_clause(mismatch: Mismatch, trail: Trail, observed: Observed) -> str:
    """Return the clause when a transfer starts, stops, moves or writes otherwise."""
    field, here = mismatch.field, trail.here
    if here is not None and here.inputs.write_transfer:
        if field == "dma_active" and here.after.transfer.enable and not here.inputs.gates:
            return "B15"  # as written it would be up
        own = mismatch.expected and not here.after.transfer.running
        if field == "dma_active" and (own or trail.rules.dma_active_means == "enabled"):
            return "B6"  # the bit as written, or another meaning of it: not a transfer
        return "B10" if _length_is_to_blame(mismatch, trail, here) else "B9"
    off = trail.last is not None and not trail.last.inputs.gates
    if off or trail.moves_since_gates <= trail.rules.fifo_words:
        return "B15"
    if trail.stopped and field in (MEMORY, "transfer_done"):
        return "B9"  # the core goes on behind a stop
    if field == MEMORY:
        return _move_clause(trail)
    done = observed.lanes.get("transfer_done")
    if field == "dma_active" and done is not None and here is not None:
        ended = here.after.transfer.done and not int(done.at(mismatch.cycle))
        return "B10" if ended else "B6"
    if field == "transfer_done":  # its length is B12's, where it stands follows from the transfer
        return _done_clause(trail) if mismatch.observed else "B10"
    old = trail.left_over and not trail.moves_since_start
    if old and field in ("write_gate", "write_data") and mismatch.observed:
        return "B9"  # what is written can only be left over from before
    return CLAUSE_OF[field]


def _length_is_to_blame(mismatch: Mismatch, trail: Trail, start: Edge) -> bool:
    """Return whether a start is taken for one, and its length for another.

    A start of no words that does nothing may be none to the core, if the one before was a start.
    """
    if not trail.starts(start):
        return False
    if start.inputs.transfer & LENGTH:
        return mismatch.field == "transfer_done" and bool(mismatch.observed)
    return not trail.again or bool(mismatch.observed)


def _done_clause(trail: Trail) -> str:
    """Return the clause when transfer_done is up and should not be.

    Without a transfer none can end; and of one to the disk none ends where no slot moves a word.
    """
    last = trail.last
    if last is not None and last.before.transfer.done:
        return "B12"
    if not trail.started:
        return "B9"
    moved = trail.here is not None and moves(trail.here)
    writes = last is not None and last.before.transfer.write
    return "B11" if writes and not moved and not trail.empty else "B10"


def _move_clause(trail: Trail) -> str:
    """Return the clause when another word is moved, or none, while a transfer goes on.

    A transfer that moved words as it should has started, and so has one that moves a word too many,
    unless that is left over from before. One of no words must not move any (B10).
    """
    if trail.empty:
        return "B10"
    last, here = trail.last, trail.here
    too_many = last is not None and last.before.transfer.running and not (here and moves(here))
    if too_many and trail.left_over and not trail.moves_since_start:
        return "B9"
    writes = last is not None and last.before.transfer.write
    collected = trail.bits_since_start >= WORD_BITS and not writes
    if too_many or collected or trail.moves_since_start:
        return "B11" if writes else "B10"
    return "B9"


def _framing_clause(mismatch: Mismatch, trail: Trail, observed: Observed) -> str:
    """Return the clause when data or byte_ready is wrong."""
    if mismatch.field == "byte_ready":
        return _ready_clause(mismatch, trail, observed)
    if trail.here is not None and completes_byte(trail.here):
        overwrote = trail.overwrote and "data" in observed.lanes
        return _data_clause(mismatch, trail.here, overwrote, observed)
    return "B4"


def moves(edge: Edge) -> bool:
    """Return whether a slot of the edge moves a word (B10, B11)."""
    return edge.after.transfer.memory_index != edge.before.transfer.memory_index


def completes_byte(edge: Edge) -> bool:
    """Return whether the edge's channel bit is the eighth of a byte (B4)."""
    return bool(edge.inputs.bit_strobe and not edge.inputs.reset and edge.before.bit_count == 7)


def completions(profile: Profile, state: State, stimulus: Stimulus) -> Iterator[int]:
    """Yield the edges of a stimulus on which bytes complete, from the state before it."""
    block = RegisterBlock(profile)
    block.restore(state)
    for edge in edges(block, stimulus):
        if completes_byte(edge):
            yield edge.cycle


def _data_clause(mismatch: Mismatch, here: Edge, overwrote: bool, observed: Observed) -> str:
    """Return the clause when data is wrong on the edge on which a byte completes.

    A core that keeps the old byte keeps every unread one (B5), or has lost this byte (B4): one that
    `overwrote` an unread byte before has lost this one.
    """
    if here.before.byte_ready:  # unread so far, and to be overwritten
        kept = mismatch.observed == here.before.data
        return "B5" if kept and not overwrote else "B4"
    framed_alike = "byte_ready" in observed.lanes  # for byte_ready would have mismatched first
    late = mismatch.observed == here.before.window & 0xFF
    return "B2" if framed_alike and not late else "B4"


def _ready_clause(mismatch: Mismatch, trail: Trail, observed: Observed) -> str:
    """Return the clause when byte_ready is wrong: the flag's own, or the framing's.

    A byte that is lost leaves data, and a flag that is up, as they were.
    """
    here = trail.here
    if here is None or not completes_byte(here):
        to_clear = here is not None and here.inputs.read_status and here.before.byte_ready
        return "B4" if mismatch.observed and not to_clear else "B5"
    read = here.inputs.read_status
    if "data" not in observed.lanes or (here.before.byte_ready and not read):
        return "B5"
    before, after = here.before.data, here.after.data
    if before == after:  # data does not tell
        tie = read and not (trail.tied and "byte_ready" in observed.lanes)
        return "B5" if tie else "B4"
    return "B5" if int(observed.lanes["data"].at(mismatch.cycle)) == after else "B4"
