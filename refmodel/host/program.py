"""Host programs: generators that yield register accesses and are sent what a read returned.

    def poll(cost=32):                    # count polls until the flag is up
        polls = 0
        while not (yield Read("status", cost)).byte_ready:
            polls += 1
        return polls

Its parameters are those a scenario gives it. One program runs unchanged against the model and
against a core.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import Field

from refmodel.block.fields import Layout
from refmodel.ground.word import WORD

Word = Annotated[int, Field(ge=0, le=WORD)]  # a parameter that is written to a register


@dataclass(frozen=True, slots=True)
class Read:
    """Read a register, `cost` cycles (1 or more) after the access before."""

    register: str
    cost: int = 1


@dataclass(frozen=True, slots=True)
class Write:
    """Write `value` to a register, `cost` cycles (1 or more) after the access before."""

    register: str
    value: int
    cost: int = 1


@dataclass(frozen=True, slots=True)
class Wait:
    """Let `cycles` pass with no access."""

    cycles: int


Access = Read | Write | Wait


def said(access: Access) -> str:
    """Return an access in words."""
    match access:
        case Read(register):
            return f"a read of {register}"
        case Write(register, value):
            return f"a write of 0x{value:04X} to {register}"
        case Wait(cycles):
            return f"a wait of {cycles} cycles"


Program = Generator[Access, Any, Any]


class StatusView:
    """A status word as the host sees it: `word`, and each field as an attribute.

    `cycle` is the cycle of the access, as a timer of the host would tell it.
    """

    __slots__ = ("_layout", "cycle", "word")

    def __init__(self, word: int, layout: Layout, cycle: int = 0) -> None:
        self.word = word
        self.cycle = cycle
        self._layout = layout

    def __getattr__(self, name: str) -> int:
        try:
            return self._layout[name].of(self.word)
        except KeyError:
            raise AttributeError(name) from None


ProgramMaker = Callable[..., Program]
