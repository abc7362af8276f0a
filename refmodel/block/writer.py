"""The write side of a transfer: words into write gate and write data: clause B11."""

from __future__ import annotations

from typing import NamedTuple

from refmodel.block.control import PRECOMPENSATION, SLOW_BITS
from refmodel.block.fifo import Fifo
from refmodel.block.precompensation import amount, direction
from refmodel.block.rules import Rules
from refmodel.ground.word import WORD, WORD_BITS

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
    def data(self) -> int:
        """write_data: a pulse of one cycle for each 1 that leaves, while the gate is open."""
        return self.gate if self.tick == self.pulse else 0


IDLE = Writer()


class Serialised(NamedTuple):
    """The serialiser after an edge. `takes` is 1 where a word begins: the FIFO's oldest, or 0."""

    writer: Writer
    takes: int


def serialise(rules: Rules, before: Writer, fifo: Fifo, running: int, control: int) -> Serialised:
    """Return the serialiser after an edge with both gates on, and whether it takes a word.

    `fifo` and `running` are what it sees of the words that wait and are still to come.
    """
    if before.active == 0:
        if fifo.used == 0:
            return Serialised(before, 0)
        return Serialised(_enter(rules, 0, fifo.words[0], IDLE, control), 1)
    if before.tick + 1 != before.bit_cycles:
        return Serialised(before._replace(tick=before.tick + 1), 0)
    bit = before.bit + 1
    more = 1 if running or fifo.used else 0
    if bit == WORD_BITS and more:
        word = fifo.words[0] if fifo.used else 0
        return Serialised(_enter(rules, 0, word, before, control), 1)
    if bit == WORD_BITS + DELAY:
        return Serialised(IDLE, 0)
    closes = 1 if bit == WORD_BITS + DELAY - rules.tail_lost_bits and more == 0 else 0
    if closes:
        before = before._replace(gate=0)
    elif bit == DELAY:
        before = before._replace(gate=1)
    return Serialised(_enter(rules, bit, before.word, before, control), 0)


def bit_time(rules: Rules, control: int) -> int:
    """Return how many cycles a bit lasts that enters while control holds this."""
    return rules.bit_cycles * 2 if control & SLOW_BITS else rules.bit_cycles


def pulse_tick(recent: int, bit_cycles: int, control: int) -> int:
    """Return the cycle of its time in which the leaving bit's pulse stands; it never leaves it."""
    if recent & LEAVING == 0:
        return bit_cycles
    tick = bit_cycles // 2 + direction(recent) * amount(PRECOMPENSATION.of(control))
    if tick < 0:
        return 0
    if tick >= bit_cycles:
        return bit_cycles - 1
    return tick


def _enter(rules: Rules, bit: int, word: int, before: Writer, control: int) -> Writer:
    """Return the serialiser with the top bit of `word` entering."""
    bit_cycles = bit_time(rules, control)
    recent = (before.recent << 1 | word >> 15) & 0b11111
    return Writer(
        active=1,
        bit=bit,
        tick=0,
        bit_cycles=bit_cycles,
        pulse=pulse_tick(recent, bit_cycles, control),
        word=word << 1 & WORD,
        recent=recent,
        gate=before.gate,
    )
