"""The host's side of a core: strobes, address, data, registers, and when an access counts."""

from __future__ import annotations

from typing import Annotated, Literal, NamedTuple

from pydantic import Field as Key

from refmodel.ground.yamlfile import Schema
from refmodel.host.addresses import Natural, Registers
from testbenches.binding.roles import Signal

Cycles = Annotated[int, Key(ge=0, le=256)]
STATUS = "status"
REGISTERS = tuple(Registers.model_fields)


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
