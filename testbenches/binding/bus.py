"""The host's side of a core: strobes, address, data, registers, and when an access counts."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, NamedTuple

from pydantic import Field as Key
from pydantic import model_validator

from refmodel.ground.yamlfile import Schema, ShortForm
from testbenches.binding.roles import Signal

Half = Literal["high", "low"]
Natural = Annotated[int, Key(ge=0)]
Cycles = Annotated[int, Key(ge=0, le=256)]
STATUS = "status"
REGISTERS = (STATUS, "sync_word", "transfer", "control")


class StatusAddress(ShortForm):
    """Where status is read: one address, or two bytes of which reading one clears byte_ready."""

    short: ClassVar[str] = "word"
    word: Natural | None = None
    high: Natural | None = None
    low: Natural | None = None
    clears_on: Half | None = None

    @model_validator(mode="after")
    def _one_form(self) -> StatusAddress:
        _check_halves(self.word, self.high, self.low)
        if self.high is not None and self.clears_on is None:
            raise ValueError("clears_on must say which byte's read clears byte_ready: high or low")
        if self.high is None and self.clears_on is not None:
            raise ValueError("clears_on goes with high and low of a byte-wide bus")
        return self


class WordAddress(ShortForm):
    """Where a register is written: one address, or one for each byte."""

    short: ClassVar[str] = "word"
    word: Natural | None = None
    high: Natural | None = None
    low: Natural | None = None

    @model_validator(mode="after")
    def _one_form(self) -> WordAddress:
        _check_halves(self.word, self.high, self.low)
        return self


def _check_halves(word: int | None, high: int | None, low: int | None) -> None:
    """Raise ValueError unless there is one address, or two different ones."""
    if (word is None) == (high is None) or (high is None) != (low is None):
        raise ValueError("give one address, or both high and low of a byte-wide bus")
    if high is not None and high == low:
        raise ValueError(f"high and low are both {high}; the two bytes need two addresses")


class Registers(Schema):
    """The registers the core has on its bus. What is not here is not tested."""

    status: StatusAddress | None = None
    sync_word: WordAddress | None = None
    transfer: WordAddress | None = None
    control: WordAddress | None = None


class Bus(Schema):
    """The host's side: read and write strobes, or a select and a write line for the direction.

    An access holds its strobe for `hold` cycles and counts at the edge of them that `acts` names,
    `latency` edges later for each register it passes first, a write `write_latency` more. What a
    read returns is at the port `read_latency` edges after the one it counts at. `idle` cycles pass
    between accesses at least.

    `decoded` has the address lines the core looks at, all of them if it is not given, and `others`
    the addresses at which something answers that is not bound: they are left alone.
    """

    address: str
    read: Signal | None = None
    select: Signal | None = None
    write: Signal | None = None
    write_data: str | None = None
    read_data: str | None = None
    registers: Registers
    decoded: Natural | None = None
    others: list[Natural] = Key([])
    hold: int = Key(1, ge=1, le=256)
    acts: Literal["first", "last", "held"] = "first"
    idle: Cycles = 0
    latency: Cycles = 0
    write_latency: Cycles = 0
    read_latency: Cycles = 0

    @property
    def counted(self) -> tuple[int, ...]:
        """How many edges after its first an access counts at, before any latency."""
        edges = range(self.hold)
        return {"first": (0,), "last": (self.hold - 1,), "held": tuple(edges)}[self.acts]

    @property
    def answer(self) -> int:
        """How many cycles after its first a read's answer is at the port."""
        return self.counted[0] + self.latency + self.read_latency


class Beat(NamedTuple):
    """One bus cycle of an access: `offset` cycles from the one that counts."""

    offset: int
    address: int
    half: Literal["word", "high", "low"]
