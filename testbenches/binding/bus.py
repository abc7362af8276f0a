"""The host's side of a core: strobes, address, data, registers, and when an access counts."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, ClassVar, Literal, NamedTuple

from pydantic import Field as Key
from pydantic import model_validator

from refmodel.ground.yamlfile import Schema
from refmodel.host.addresses import Natural, Registers
from testbenches.binding.roles import Driven, ObservedSignal, Pin, Watched

Cycles = Annotated[int, Key(ge=0, le=256)]
STATUS = "status"
REGISTERS = tuple(Registers.model_fields)
ANSWERED = 16  # cycles in which a core with acknowledge has answered as a rule


class Strobes(Schema):
    """Data strobes of the two bytes of a word: both are active with an access of the word."""

    high: Pin
    """The strobe of the high byte."""
    low: Pin
    """The strobe of the low byte."""


class SharedData(Schema):
    """A data bus for both directions on one port, and what is up while the core drives it."""

    port: str
    """The inout port."""
    drives: ObservedSignal
    """Up while the core drives it: its output enable."""

    @model_validator(mode="before")
    @classmethod
    def _has_both(cls, value: object) -> object:
        if not (isinstance(value, dict) and "drives" in value):
            port = value.get("port", "PORT") if isinstance(value, dict) else value
            raise ValueError(
                "an inout needs what is up while the core drives it, its output enable: "
                f"{{port: {port}, drives: SIGNAL}}"
            )
        return value


class Acknowledge(Pin):
    """An output of the core that ends an access; one that never comes ends the run."""

    called: ClassVar[tuple[str, str]] = ("an acknowledge", "acknowledges")
    timeout: int = Key(256, ge=1, le=100_000)
    """The host holds its strobes for at most this many cycles; then the run ends with a
    mismatch."""


class Bus(Schema):
    """The host's side: read and write strobes, a select, or a select and a line for writes."""

    address: str
    """The address port."""
    read: Pin | None = None
    """The read strobe."""
    select: Pin | None = None
    """On in any access of the core, and off in those of other devices, which must have no effect.
    Without a read strobe `write` gives the direction."""
    write: Pin | None = None
    """The write strobe; with `select` alone, up in writes."""
    write_data: str | None = None
    """The port with the data of a write."""
    read_data: str | None = None
    """The port with the data of a read."""
    data: SharedData | None = None
    """Instead of both: one port for both directions."""
    strobes: Strobes | None = None
    """Data strobes of the two bytes of a word; both are on in an access of the word."""
    byte_order: Literal["straight", "swapped"] = "straight"
    """`swapped`: the high byte is on the low lines."""
    acknowledge: Acknowledge | None = None
    """An output of the core that ends each access, which counts at its first edge or, with
    `acts: last`, at the one that samples this."""
    asynchronous: bool = False
    """The host has its own clock, so its lines change anywhere between two edges; needs `hold`."""
    registers: Registers
    """The registers on the bus; others are not tested."""
    decoded: Natural | None = None
    """The address lines the core looks at, as a mask; without it all of them."""
    others: list[Natural] | None = None
    """Addresses of registers that are not bound; `[]` for none. The bench writes to all other
    addresses. Without the key, if a register is not bound, it writes to no other address, since it
    might hit that register."""
    hold: int = Key(1, ge=1, le=256)
    """Cycles for which an access holds its strobe."""
    acts: Literal["first", "last", "held"] = "first"
    """At which edge of a held strobe the access counts; `held`: at each of them."""
    idle: Cycles = 0
    """The fewest cycles between accesses; address and data stay as they are."""
    latency: Cycles = 0
    """Registers an access passes before it counts: edges."""
    write_latency: Cycles = 0
    """Edges by which a write acts later than a read."""
    read_latency: Cycles = 0
    """Edges from the one at which a read acts until its data is at the port."""

    def driven(self) -> Iterator[Driven]:
        """Yield the inputs of the core, and its data bus if it is one for both directions."""
        yield Driven(("bus", "address"), self.address, "high")
        for name in ("read", "select", "write"):
            signal = getattr(self, name)
            if signal is not None:
                yield Driven(("bus", name), signal.port, signal.active)
        for name in ("high", "low") if self.strobes is not None else ():
            strobe = getattr(self.strobes, name)
            yield Driven(("bus", "strobes", name), strobe.port, strobe.active)
        if self.write_data is not None:
            yield Driven(("bus", "write_data"), self.write_data, "high")
        if self.data is not None:
            yield Driven(("bus", "data", "port"), self.data.port, "high")

    def watched(self) -> Iterator[Watched]:
        """Yield what the harness looks at beside the data."""
        if self.acknowledge is not None:
            ack = self.acknowledge
            yield Watched("acknowledge", ack.port, 1, ack.active, ("bus", "acknowledge"))
        if self.data is not None:
            drives = self.data.drives
            key = ("bus", "data", "drives")
            yield Watched("drives", drives.signal, 1, drives.active, key)

    @property
    def counted(self) -> tuple[int, ...]:
        """How many edges after its first an access counts at, before any latency."""
        edges = range(self.hold)
        return {"first": (0,), "last": (self.hold - 1,), "held": tuple(edges)}[self.acts]

    @property
    def written_on(self) -> str | None:
        """The port with the data of a write."""
        return self.data.port if self.data is not None else self.write_data

    @property
    def answer(self) -> int:
        """How many cycles after its first a read's answer is at the port."""
        return self.counted[0] + self.latency + self.read_latency

    @property
    def lasting(self) -> dict[str, Any]:
        """How long a bus cycle and a reset have to do with each other, as `BusShape` takes it.

        Only registers on the way in forget nothing but what is on it when a reset ends; a strobe
        that is held begins anew behind it, and an answer in a register is gone with it.
        """
        waits = min(self.acknowledge.timeout, ANSWERED) if self.acknowledge is not None else 0
        held = max(self.hold - 1, waits) + self.asynchronous
        late = max(self.counted[-1], waits) + self.latency
        return {
            "read_lasts": max(held, late + self.read_latency),
            "write_lasts": max(held, late + self.write_latency),
            "whole": held > 0 or self.read_latency > 0,
        }


class AccessCycle(NamedTuple):
    """One bus cycle of an access: `offset` cycles from the one that counts."""

    offset: int
    address: int
    half: Literal["word", "high", "low"]
