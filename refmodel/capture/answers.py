"""Answers to several questions at once: which are left, as the bits of one whole number.

Bits stand for answers, a field of them for a question. A number with bits in every field is a box:
all readings that take one of its answers to each question.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

Box = int


class Answers:
    """The questions, each with its answers in order, and what can be done with boxes of them."""

    def __init__(self, questions: Mapping[str, Sequence[str]]) -> None:
        self.questions = {name: tuple(values) for name, values in questions.items()}
        self._lsb: dict[str, int] = {}
        self.fields: dict[str, Box] = {}
        at = 0
        for name, values in self.questions.items():
            self._lsb[name] = at
            self.fields[name] = (1 << len(values)) - 1 << at
            at += len(values)
        self._bits = {
            name: [(1 << self._lsb[name] + n, value) for n, value in enumerate(values)]
            for name, values in self.questions.items()
        }
        self.all: Box = (1 << at) - 1

    def only(self, name: str, value: str) -> Box:
        """Return every reading with one answer."""
        place = self._lsb[name] + self.questions[name].index(value)
        return self.all & ~self.fields[name] | 1 << place

    def left(self, box: Box, name: str) -> Iterator[tuple[Box, str]]:
        """Yield each answer that a box leaves to a question, with the part that has it."""
        others = box & ~self.fields[name]
        for bit, value in self._bits[name]:
            if box & bit:
                yield others | bit, value

    def some(self, box: Box) -> bool:
        """Return whether a box has any reading."""
        return all(box & field for field in self.fields.values())

    def within(self, boxes: Iterable[Box], other: Box) -> list[Box]:
        """Return what several boxes have in common with another."""
        return [part for box in boxes if self.some(part := box & other)]

    def nearest(self, box: Box, wanted: Mapping[str, str]) -> dict[str, str]:
        """Return the reading of a box that differs least from another."""
        found = {}
        for name in self.questions:
            values = [value for _, value in self.left(box, name)]
            found[name] = wanted[name] if wanted[name] in values else values[0]
        return found

    def merged(self, boxes: Iterable[Box]) -> list[Box]:
        """Return fewer boxes with the same readings: those that differ in one question are one."""
        left = list(dict.fromkeys(boxes))
        n = 0
        while n < len(left):
            for m in range(n + 1, len(left)):
                if self._in_one_question(left[n], left[m]):
                    left[n] |= left.pop(m)
                    n = -1
                    break
            n += 1
        return left

    def _in_one_question(self, one: Box, other: Box) -> bool:
        """Return whether two boxes differ in no question but one, or one holds the other."""
        apart = one ^ other
        if one | other in (one, other):
            return True
        low = apart & -apart
        return any(field & low and apart & ~field == 0 for field in self.fields.values())
