"""Memory slots: the edges on which a transfer may use memory, and whether they are enough (B10)."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from pydantic import Field as Key
from pydantic import field_validator, model_validator

from refmodel.ground.word import WORD_BITS
from refmodel.ground.yamlfile import Schema


class Slots(Schema):
    """The slot schedule: a slot on each edge n for which n modulo `line_cycles` is in `at`."""

    line_cycles: int = Key(454, ge=1, le=1 << 32)
    """Cycles of a line; the slots repeat in each line."""
    at: tuple[int, ...] = (40, 191, 342)
    """The cycles of a line that have a slot, in order."""

    @field_validator("at")
    @classmethod
    def _in_order(cls, value: tuple[int, ...]) -> tuple[int, ...]:
        if not value:
            raise ValueError("a transfer needs at least one slot a line")
        if value[0] < 0 or list(value) != sorted(set(value)):
            listed = ", ".join(map(str, value))
            raise ValueError(f"{listed}: positions are 0 or more, each higher than the one before")
        return value

    @model_validator(mode="after")
    def _in_line(self) -> Slots:
        if self.at[-1] >= self.line_cycles:
            raise ValueError(
                f"slot {self.at[-1]} is outside the line of {self.line_cycles} cycles;"
                f" positions are 0..{self.line_cycles - 1}"
            )
        return self

    def granted(self, edge: int) -> int:
        """Return 1 if there is a slot on the edge, else 0."""
        position = edge % self.line_cycles
        place = bisect_left(self.at, position)
        return 1 if self.at[place : place + 1] == (position,) else 0

    def next_edge(self, edge: int) -> int:
        """Return the first edge from `edge` on that has a slot."""
        line, position = divmod(edge, self.line_cycles)
        place = bisect_left(self.at, position)
        if place < len(self.at):
            return line * self.line_cycles + self.at[place]
        return (line + 1) * self.line_cycles + self.at[0]


@dataclass(frozen=True)
class SlotRate:
    """What a schedule gives, and what a rate of one channel bit in `cycles_per_bit` needs.

    `most_waiting` is how many words wait at most, if the schedule keeps up on average at all.
    """

    slots: Slots
    cycles_per_bit: Fraction
    fifo_words: int

    @property
    def given(self) -> int:
        """Words a line that the slots move."""
        return len(self.slots.at)

    @property
    def needed(self) -> Fraction:
        """Words a line that the disk delivers or takes."""
        return self.slots.line_cycles / (WORD_BITS * self.cycles_per_bit)

    @property
    def most_waiting(self) -> int:
        """Words that wait at most, counted from when the last slots left none.

        From one slot to the n-th after it as many words arrive as word times begin in between, and
        n - 1 slots take one away.
        """
        word_cycles = WORD_BITS * self.cycles_per_bit
        at = [*self.slots.at, *(slot + self.slots.line_cycles for slot in self.slots.at)]
        return max(
            ceil((at[first + n] - at[first]) / word_cycles) - (n - 1)
            for first in range(self.given)
            for n in range(1, self.given + 1)
        )

    @property
    def problem(self) -> str:
        """What is wrong with the schedule and what would be right; empty when it keeps up."""
        if self.given < self.needed:
            return (
                f"slots: {self.given} in {self.slots.line_cycles} cycles cannot keep up with the"
                f" disk, which needs {float(self.needed):.2f} words in that time; give"
                f" {ceil(self.needed)} slots, or words are lost (B10) or run short (B11)"
            )
        if self.most_waiting > self.fifo_words:
            return (
                f"slots: between the slots of a line up to {self.most_waiting} words wait, more"
                f" than the FIFO's {self.fifo_words}; spread the slots, or words are lost (B10)"
            )
        return ""
