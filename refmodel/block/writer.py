"""The write side of a transfer: words into write gate and write data: clause B11."""

from __future__ import annotations

from typing import NamedTuple

from refmodel.block.control import PRECOMPENSATION, SLOW_BITS
from refmodel.block.fifo import Fifo
from refmodel.block.precompensation import amount, direction
from refmodel.ground.word import WORD, WORD_BITS

NEVER = 1 << 62
DELAY = 2  # bits that enter behind a bit before it leaves: what precompensation looks ahead
LEAVING = 1 << DELAY  # the bit of `recent` that leaves


class Writer(NamedTuple):
    """The serialiser. Bit number `bit` of a word entered `tick` cycles ago, and lasts `bit_cycles`.

    Bits 16 and 17 are the two zeros that push out the last word. `recent` has the last five bits
    that entered, the newest in bit 0. The middle one leaves; if it is a 1, as a pulse in the cycle
    in which `tick` equals `pulse`. `pulse` is `bit_cycles` for no pulse.
    """

    active: int = 0
    bit: int = 0
    tick: int = 0
    bit_cycles: int = 0
    pulse: int = 0
    word: int = 0  # what has still to enter, the next bit in bit 15
    recent: int = 0
    gate: int = 0

    @property
    def takes_word(self) -> bool:
        """Whether a word was taken on the edge that began this cycle."""
        return bool(self.active) and self.bit == 0 and self.tick == 0

    @property
    def data(self) -> int:
        """write_data: a pulse of one cycle for each 1 that leaves, while the gate is open."""
        return 1 if self.gate and self.tick == self.pulse else 0

    @property
    def quiet_edges(self) -> int:
        """Edges to come that count `tick` and change nothing else, `NEVER` when idle."""
        if not self.active:
            return NEVER
        if self.data:
            return 0
        if self.gate and self.tick < self.pulse < self.bit_cycles:
            return self.pulse - self.tick - 1
        return self.bit_cycles - self.tick - 1

    def after_quiet(self, edges: int) -> Writer:
        """Return the writer after some of its quiet edges."""
        return self._replace(tick=self.tick + edges) if self.active else self


IDLE = Writer()


def pulse_tick(recent: int, bit_cycles: int, control: int) -> int:
    """Return the cycle of its time in which the leaving bit's pulse stands; it never leaves it."""
    if not recent & LEAVING:
        return bit_cycles
    shift = direction(recent) * amount(PRECOMPENSATION.of(control))
    return min(max(bit_cycles // 2 + shift, 0), bit_cycles - 1)


class Serialiser:
    """What the write side does on each edge while both gates are on.

    `bit_cycles` is the time of a written channel bit, `tail_lost_bits` (0 or 3) how many bit times
    too early the gate closes.
    """

    def __init__(self, bit_cycles: int, tail_lost_bits: int) -> None:
        self._bit_cycles = bit_cycles
        self._loses_tail = tail_lost_bits > 0
        self._closing_bit = WORD_BITS + DELAY - tail_lost_bits

    def next(self, before: Writer, fifo: Fifo, running: int, control: int) -> Writer:
        """Return the writer after an edge; `fifo` and `running` as after the edge's slot.

        If it `takes_word`, that is the oldest of the FIFO, or 0 from an empty one.
        """
        if not before.active:
            return self._enter(0, fifo.words[0], IDLE, control) if fifo.used else before
        if before.tick + 1 < before.bit_cycles:
            return before._replace(tick=before.tick + 1)
        bit = before.bit + 1
        if bit == WORD_BITS and (fifo.used or running):
            word = fifo.words[0] if fifo.used else 0
            return self._enter(0, word, before, control)
        if bit == WORD_BITS + DELAY:
            return IDLE
        ending = not fifo.used and not running
        if self._loses_tail and bit == self._closing_bit and ending:
            before = before._replace(gate=0)
        elif bit == DELAY:
            before = before._replace(gate=1)
        return self._enter(bit, before.word, before, control)

    def bit_cycles(self, control: int) -> int:
        """Return how long a bit lasts that enters while control holds this."""
        return self._bit_cycles * 2 if control & SLOW_BITS else self._bit_cycles

    def _enter(self, bit: int, word: int, before: Writer, control: int) -> Writer:
        """Return the writer with the top bit of `word` entering."""
        bit_cycles = self.bit_cycles(control)
        recent = (before.recent << 1 | word >> 15) & 0b11111
        return Writer(
            active=1,
            bit=bit,
            bit_cycles=bit_cycles,
            pulse=pulse_tick(recent, bit_cycles, control),
            word=word << 1 & WORD,
            recent=recent,
            gate=before.gate,
        )
