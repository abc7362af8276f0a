"""The path between the disk and memory, one edge a call: clauses B9, B10, B11 and B15."""

from __future__ import annotations

from typing import NamedTuple

from refmodel.block.arming import ENABLE, LENGTH, WRITE, land
from refmodel.block.collector import Collector, collect
from refmodel.block.fifo import Fifo
from refmodel.block.settings import Settings
from refmodel.block.writer import IDLE, Serialiser, Writer
from refmodel.ground.word import WORD


class Move(NamedTuple):
    """One word moved in a slot: to memory (`store` 1) or from it, at `place` counted in words."""

    place: int
    word: int
    store: int


class Transfer(NamedTuple):
    """What the path remembers from edge to edge."""

    fifo: Fifo
    collector: Collector = Collector()
    writer: Writer = IDLE
    armed: int = 0  # writes of transfer in a row with enable set, since the last acceptance
    enable: int = 0  # as last written
    write: int = 0  # the direction, as accepted
    running: int = 0
    length: int = 0  # words still to be moved
    memory_index: int = 0
    done: int = 0  # transfer_done: 1 in one cycle
    lost_words: int = 0
    underruns: int = 0

    @property
    def still(self) -> bool:
        """Whether the path stays as it is on every edge without a write of transfer."""
        to_write = self.write and (self.fifo.used or self.writer.active)
        return not (self.running or self.done or to_write)


class Sampled(NamedTuple):
    """What the path sees of an edge; the edge's control write and channel bit have landed."""

    gates: int = 1  # master and channel enable
    written: int = 0  # transfer is written, with `value`
    value: int = 0
    slot: int = 0
    slot_data: int = 0  # the word of memory at `memory_index`
    bit: int = 0  # a channel bit has arrived
    window: int = 0
    match: int = 0
    realign: int = 0
    wait_for_sync: int = 0
    control: int = 0


class TransferPath:
    """What happens to a transfer on an edge: the write of its register, the slot, the bit."""

    def __init__(self, settings: Settings) -> None:
        self._arming_writes = settings.arming_writes
        self._zero_is_done = settings.policies.zero_length == "done_at_once"
        self.serialiser = Serialiser(
            settings.cycles_per_written_bit, int(settings.policies.write_tail_lost_bits)
        )
        self.at_reset = Transfer(Fifo.empty(settings.fifo_words))

    def next(self, before: Transfer, edge: Sampled) -> tuple[Transfer, Move | None]:
        """Return the path after an edge, and what it moved in the edge's slot."""
        if before.still and not edge.written:
            return before, None
        transfer = before._replace(done=0) if before.done else before
        if edge.written:
            transfer = self._land(transfer, edge)
        if not edge.gates:
            return self._hold(transfer, edge), None
        move = None
        if edge.slot and transfer.running:
            transfer, move = _use_slot(transfer, edge.slot_data)
        if transfer.write:
            transfer = self._serialise(transfer, edge.control)
        elif transfer.running and edge.bit:
            transfer = _collect(transfer, edge)
        return transfer, move

    def _land(self, transfer: Transfer, edge: Sampled) -> Transfer:
        """Let a write of the register land (B9). Stop and acceptance both empty the path."""
        landed = land(transfer.armed, edge.value, self._arming_writes)
        transfer = transfer._replace(armed=landed.armed, enable=1 if edge.value & ENABLE else 0)
        if not (landed.accepted or landed.stopped):
            return transfer
        length = edge.value & LENGTH if landed.accepted else 0
        return transfer._replace(
            fifo=self.at_reset.fifo,
            collector=Collector(waiting=edge.wait_for_sync),
            writer=IDLE,
            write=1 if landed.accepted and edge.value & WRITE else 0,
            running=1 if length else 0,
            length=length,
            done=1 if landed.accepted and not length and self._zero_is_done else 0,
        )

    def _hold(self, transfer: Transfer, edge: Sampled) -> Transfer:
        """Stand still while a gate is off (B15): FIFO and length stay, a part of a word is lost."""
        collector = transfer.collector
        if transfer.running:
            collector = Collector(waiting=edge.wait_for_sync)
        return transfer._replace(collector=collector, writer=IDLE)

    def _serialise(self, transfer: Transfer, control: int) -> Transfer:
        """Let the serialiser write (B11)."""
        fifo, underruns = transfer.fifo, transfer.underruns
        writer = self.serialiser.next(transfer.writer, fifo, transfer.running, control)
        if writer.takes_word and fifo.used:
            fifo = fifo.pop()
        elif writer.takes_word:
            underruns = counted(underruns)
        return transfer._replace(writer=writer, fifo=fifo, underruns=underruns)


def counted(count: int) -> int:
    """Return a diagnostic counter of 16 bits one higher; it stops at the top."""
    return count + 1 if count < WORD else count


def _use_slot(transfer: Transfer, slot_data: int) -> tuple[Transfer, Move | None]:
    """Move a word between FIFO and memory if there is one to move (B10, B11)."""
    if transfer.write:
        if transfer.fifo.full:
            return transfer, None
        move = Move(transfer.memory_index, slot_data, 0)
        fifo = transfer.fifo.push(slot_data)
    else:
        if not transfer.fifo.used:
            return transfer, None
        move = Move(transfer.memory_index, transfer.fifo.words[0], 1)
        fifo = transfer.fifo.pop()
    last = transfer.length == 1
    transfer = transfer._replace(
        fifo=fifo,
        running=0 if last else 1,
        length=transfer.length - 1,
        memory_index=transfer.memory_index + 1,
        done=1 if last else 0,
    )
    return transfer, move


def _collect(transfer: Transfer, edge: Sampled) -> Transfer:
    """Take a channel bit; push the word it completes, or lose it when the FIFO is full (B10)."""
    collector, completes = collect(transfer.collector, edge.match, edge.realign)
    if not completes:
        return transfer._replace(collector=collector)
    if transfer.fifo.full:
        return transfer._replace(collector=collector, lost_words=counted(transfer.lost_words))
    return transfer._replace(collector=collector, fifo=transfer.fifo.push(edge.window))
