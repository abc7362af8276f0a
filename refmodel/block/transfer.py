"""The path between the disk and memory, one edge a call: clauses B6, B7, B9, B10, B11 and B15."""

from __future__ import annotations

from typing import NamedTuple

from refmodel.block.arming import ENABLE_LSB, LENGTH, WRITE_LSB, land
from refmodel.block.collector import Collector, collect
from refmodel.block.fifo import Fifo
from refmodel.block.framing import Framed
from refmodel.block.inputs import Inputs
from refmodel.block.rules import Rules
from refmodel.block.writer import IDLE, Writer, serialise
from refmodel.ground.word import WORD

READ_SEES_THE_SLOT = ("both", "read")  # policy fifo_forwarding
WRITE_SEES_THE_SLOT = ("both", "write")


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
    write_bit: int = 0  # likewise
    write: int = 0  # the direction, as accepted
    running: int = 0
    length: int = 0  # words still to be moved
    memory_index: int = 0
    done: int = 0  # transfer_done: 1 in one cycle
    lost_words: int = 0
    underruns: int = 0


def next_transfer(
    rules: Rules,
    before: Transfer,
    inputs: Inputs,
    framed: Framed,
    waits: int,
    control: int,
) -> Transfer:
    """Return the path after an edge: the write of transfer, the slot, then the channel bit.

    `framed` is what the bit has done, `waits` says whether a match is waited for (B4, B10).
    """
    transfer = before
    if before.done:
        transfer = before._replace(done=0)
    if inputs.write_transfer == 0:
        return _go_on(rules, transfer, inputs, framed, waits, control)
    if rules.start_acts == "same_edge":
        transfer = _land(rules, transfer, inputs.transfer, waits)
        return _go_on(rules, transfer, inputs, framed, waits, control)
    transfer = _go_on(rules, transfer, inputs, framed, waits, control)
    return _land(rules, transfer, inputs.transfer, waits)


def moved(rules: Rules, before: Transfer, after: Transfer, slot_data: int) -> Move | None:
    """Return the word that the slot of an edge moved, from the path before and after the edge."""
    if after.memory_index != before.memory_index + 1:
        return None
    write = after.write if rules.start_acts == "same_edge" else before.write
    if write:
        return Move(before.memory_index, slot_data, 0)
    return Move(before.memory_index, before.fifo.words[0], 1)


def own_dma_active(rules: Rules, transfer: Transfer, gates: int) -> int:
    """Return the block's own part of dma_active (B6) after an edge that sampled `gates`."""
    if rules.dma_active_means == "enabled":
        return gates & transfer.enable
    return gates & transfer.running


def own_writing(rules: Rules, transfer: Transfer) -> int:
    """Return the block's own part of writing (B7)."""
    if rules.writing_means == "gate_open":
        return transfer.writer.gate
    if rules.writing_means == "as_written":
        return transfer.write_bit
    return transfer.write


def counted(count: int) -> int:
    """Return a diagnostic counter of 16 bits one higher; it stops at the top."""
    return count if count == WORD else count + 1


def _land(rules: Rules, transfer: Transfer, value: int, waits: int) -> Transfer:
    """Let a write of the register land (B9). Stop and acceptance both empty the path."""
    landed = land(rules, transfer.armed, value)
    asked = value & LENGTH
    transfer = transfer._replace(
        armed=landed.armed,
        enable=value >> ENABLE_LSB & 1,
        write_bit=value >> WRITE_LSB & 1,
        length=asked if rules.length_loads == "every_write" else transfer.length,
    )
    if landed.accepted == 0 and landed.stopped == 0:
        return transfer
    runs = landed.accepted if asked else 0
    done = landed.accepted - runs if rules.zero_length == "done_at_once" else 0
    if landed.stopped and rules.length_loads == "accepted":
        asked = 0
    return transfer._replace(
        fifo=Fifo.empty(rules.fifo_words),
        collector=Collector(waiting=waits),
        writer=IDLE,
        write=landed.accepted & (value >> WRITE_LSB),
        running=runs,
        length=asked,
        done=transfer.done | done,
    )


def _go_on(
    rules: Rules, transfer: Transfer, inputs: Inputs, framed: Framed, waits: int, control: int
) -> Transfer:
    """Let slot, serialiser and channel bit act; policy fifo_forwarding says who sees the slot."""
    gates = inputs.gates
    if gates == 0 and rules.gates_stop == "path":
        return _hold(transfer, waits)
    after = transfer
    if gates and inputs.slot and transfer.running:
        after = _use_slot(transfer, inputs.slot_data)
    if transfer.write:
        seen = after if rules.fifo_forwarding in WRITE_SEES_THE_SLOT else transfer
        return _serialise(rules, seen, after, control)
    if inputs.bit_strobe:
        seen = after if rules.fifo_forwarding in READ_SEES_THE_SLOT else transfer
        return _collect(seen, after, framed)
    return after


def _hold(transfer: Transfer, waits: int) -> Transfer:
    """Stand still while a gate is off (B15): FIFO and length stay, a part of a word is lost."""
    if transfer.running:
        return transfer._replace(collector=Collector(waiting=waits), writer=IDLE)
    return transfer._replace(writer=IDLE)


def _use_slot(transfer: Transfer, slot_data: int) -> Transfer:
    """Move a word between FIFO and memory if there is one to move (B10, B11)."""
    fifo = transfer.fifo
    if transfer.write:
        if fifo.full:
            return transfer
        fifo = fifo.push(slot_data)
    else:
        if fifo.used == 0:
            return transfer
        fifo = fifo.pop()
    last = 1 if transfer.length == 1 else 0
    return transfer._replace(
        fifo=fifo,
        running=1 - last,
        length=transfer.length - 1 & LENGTH,
        memory_index=transfer.memory_index + 1,
        done=last,
    )


def _serialise(rules: Rules, seen: Transfer, transfer: Transfer, control: int) -> Transfer:
    """Let the serialiser write (B11), by the words and the transfer it has `seen`."""
    fifo, underruns = transfer.fifo, transfer.underruns
    writer, takes = serialise(rules, transfer.writer, seen.fifo, seen.running, control)
    if takes:
        if seen.fifo.used:
            fifo = fifo.pop()
        else:
            underruns = counted(underruns)
    return transfer._replace(writer=writer, fifo=fifo, underruns=underruns)


def _collect(seen: Transfer, transfer: Transfer, framed: Framed) -> Transfer:
    """Take a channel bit; push the word it completes, or lose it when the FIFO is full (B10)."""
    if seen.running == 0:
        return transfer
    collector, completes = collect(transfer.collector, framed.match, framed.restart)
    if completes == 0:
        return transfer._replace(collector=collector)
    if seen.fifo.full:
        return transfer._replace(collector=collector, lost_words=counted(transfer.lost_words))
    return transfer._replace(collector=collector, fifo=transfer.fifo.push(framed.window))
