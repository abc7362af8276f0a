"""The words of a write transfer, many at once: clause B11.

A word that is followed by another without a change of control is computed as a whole; the edges
around (the first word, the last, a change) are stepped one event at a time.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from refmodel.block.arming import LENGTH
from refmodel.block.fifo import Fifo
from refmodel.block.framing import Framed
from refmodel.block.inputs import Inputs
from refmodel.block.transfer import WRITE_SEES_THE_SLOT, Transfer
from refmodel.block.writer import LEAVING, Writer, bit_time, pulse_tick
from refmodel.engine.quiet import path_after_quiet, quiet_path_edges
from refmodel.engine.transfer_span import TransferSpan
from refmodel.ground.moves import word_at
from refmodel.ground.word import WORD, WORD_BITS


def write_words(span: TransferSpan, transfer: Transfer, first: int, until: int) -> Transfer:
    """Let a write transfer go on at edges `first` .. `until - 1`, both gates on."""
    edge = first
    while edge < until:
        due = min(edge + _quiet_edges(span, transfer, edge), until)
        transfer = path_after_quiet(transfer, due - edge)
        if due == until:
            break
        edge = due
        if _ends_word(transfer.writer):
            stretch = WritingStretch(span, transfer, edge, until)
            if stretch.edge > edge:
                transfer, edge = stretch.after(), stretch.edge
                continue
        transfer = _step(span, transfer, edge)
        edge += 1
    return transfer


def _quiet_edges(span: TransferSpan, transfer: Transfer, edge: int) -> int:
    """Return how many edges from `edge` on change nothing."""
    quiet = quiet_path_edges(transfer)
    if transfer.running:
        quiet = min(quiet, span.next_slot(edge) - edge)
    return quiet


def _step(span: TransferSpan, transfer: Transfer, edge: int) -> Transfer:
    """Step one edge on which nothing arrives but, perhaps, a slot."""
    inputs = Inputs(
        master_enable=1 if span.slots_open else 0,
        slot=1 if span.next_slot(edge) == edge else 0,
        slot_data=word_at(span.memory, transfer.memory_index),
    )
    return span.take(transfer, inputs, edge, Framed())


def _ends_word(writer: Writer) -> bool:
    """Return whether the next edge ends the last bit of a word."""
    last = writer.bit == WORD_BITS - 1 and writer.tick + 1 == writer.bit_cycles
    return bool(writer.active) and last


class WritingStretch:
    """Words written one after the other from an edge on that takes one, each followed by another.

    Control does not change, so every bit takes equally long. `edge` is the end of the last one.
    """

    def __init__(self, span: TransferSpan, transfer: Transfer, edge: int, until: int) -> None:
        self._span = span
        self._before = transfer
        self._control = span.control.at(edge)
        self._bit_cycles = bit_time(span.rules, self._control)
        self._waiting = list(transfer.fifo.waiting)
        self._to_go = span.to_go(transfer)
        self._place = transfer.memory_index
        self._underruns = transfer.underruns
        self._slot = span.next_slot(edge)
        self._done = -1
        self._first = self.edge = edge
        self._words: list[int] = []
        end = span.control.next_change(edge, until)
        while self.edge + WORD_BITS * self._bit_cycles <= end and self._another_follows():
            self._write_word()

    def after(self) -> Transfer:
        """Note what the stretch shows; return the transfer in the last cycle of its last bit."""
        for pulse in ("write_data", "transfer_done"):
            self._span.shown[pulse].add(self._first, 0)  # one of the cycle before ends
        recent = self._note_pulses()
        after = self._before._replace(
            fifo=Fifo.of(self._waiting, len(self._before.fifo.words)),
            running=1 if self._to_go else 0,
            length=self._to_go & LENGTH if self._before.running else self._before.length,
            memory_index=self._place,
            underruns=self._underruns,
            done=1 if self._done == self.edge - 1 else 0,
            writer=self._before.writer._replace(
                tick=self._bit_cycles - 1,
                bit_cycles=self._bit_cycles,
                pulse=pulse_tick(recent, self._bit_cycles, self._control),
                recent=recent,
            ),
        )
        if self._done >= 0:
            self._span.ended(self._done, after)
        return after

    def _another_follows(self) -> bool:
        """Return whether the word that is now taken is sure not to be the last."""
        return self._to_go >= 2 or len(self._waiting) >= 2

    def _write_word(self) -> None:
        """Take one word, and use the slots up to where the next is taken."""
        end = self.edge + WORD_BITS * self._bit_cycles
        seen = len(self._waiting)
        if self._slot == self.edge:
            self._use_slot()
        if self._span.rules.fifo_forwarding in WRITE_SEES_THE_SLOT:
            seen = len(self._waiting)
        if seen:
            self._words.append(self._waiting.pop(0))
        else:
            self._words.append(0)
            self._underruns = min(self._underruns + 1, WORD)
            self._span.shown["underruns"].add(self.edge, self._underruns)
        while self._to_go and self._slot < end:
            self._use_slot()
        self.edge = end

    def _use_slot(self) -> None:
        """Fetch a word in the next slot, if the transfer runs and the FIFO has room."""
        edge, span = self._slot, self._span
        self._slot = span.next_slot(edge + 1)
        if not self._to_go or len(self._waiting) == len(self._before.fifo.words):
            return
        word = word_at(span.memory, self._place)
        span.move(edge, self._place, word, 0)
        self._waiting.append(word)
        self._place += 1
        self._to_go -= 1
        if not self._to_go:
            self._done = edge

    def _note_pulses(self) -> int:
        """Note the pulses of the bits that leave; return the last five bits that entered."""
        patterns = _patterns(self._before.writer.recent, self._words)
        ticks = np.array([pulse_tick(p, self._bit_cycles, self._control) for p in range(32)])
        leaving = np.flatnonzero(patterns & LEAVING)
        at = self._first + leaving * self._bit_cycles + ticks[patterns[leaving]]
        self._span.shown["write_data"].pulses(at)
        return int(patterns[-1])


def _patterns(recent: int, words: list[int]) -> NDArray[np.int64]:
    """Return, for each bit of `words` that enters, the five bits up to it as a number."""
    earlier = [recent >> n & 1 for n in (3, 2, 1, 0)]
    bits = np.unpackbits(np.array(words, ">u2").view(np.uint8)).astype(np.int64)
    row = np.concatenate((earlier, bits))
    patterns = np.zeros(len(bits), np.int64)
    for n in range(5):
        patterns = patterns << 1 | row[n : n + len(bits)]
    return patterns
