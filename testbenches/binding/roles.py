"""Roles of a core that has more than the status register: gates, memory and output lines."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import ClassVar, Literal, NamedTuple

from pydantic import Field as Key
from pydantic import model_validator

from refmodel.ground.yamlfile import Schema, ShortForm
from refmodel.host.addresses import Natural

Active = Literal["high", "low"]
GATES = ("master_enable", "channel_enable")
LINES = ("write_gate", "write_data", "sync_found", "transfer_done")
MOVES = "memory"  # the words moved to and from memory, where a lane or a field is named


class Pin(ShortForm):
    """A port of the core: `rd`, or `{port: rd, active: low}`."""

    short: ClassVar[str] = "port"
    port: str
    active: Active = "high"


class LevelPin(Pin):
    """A level input: registered by the block, `latency` times more before, or passed straight.

    A straight level shows in status in the cycle in which another register drives it.
    """

    path: Literal["registered", "straight"] = "registered"
    latency: int = Key(0, ge=0, le=64)


class PulseLine(ShortForm):
    """An output line that pulses for `cycles` cycles, or changes its level instead."""

    short: ClassVar[str] = "signal"
    signal: str
    active: Active = "high"
    form: Literal["pulse", "toggle"] = "pulse"
    cycles: int = Key(1, ge=1, le=64)


class ObservedSignal(ShortForm):
    """A port or hierarchical name that shows one field without side effects."""

    short: ClassVar[str] = "signal"
    signal: str
    active: Active = "high"


class FieldPart(ObservedSignal):
    """One of the signals a field is joined from, held back `delay` cycles to meet later ones."""

    delay: int = Key(0, ge=0, le=64)


class ObservedField(ShortForm):
    """What shows a field: one signal, or several that are `joined`.

    By `bits` they stand side by side, the first one highest; by `and`, `or`, `xor` the field is
    what that makes of them. `active` low inverts the whole.
    """

    short: ClassVar[str] = "signal"
    signal: str | None = None
    joined: list[FieldPart] = Key([])
    by: Literal["bits", "and", "or", "xor"] = "bits"
    active: Active = "high"

    @model_validator(mode="after")
    def _one_form(self) -> ObservedField:
        if (self.signal is None) == (not self.joined):
            raise ValueError("give signal, or joined with a list of signals; not both")
        if self.signal is not None and "by" in self.model_fields_set:
            raise ValueError("by goes with joined: it says what makes one field of several signals")
        return self


class Driven(NamedTuple):
    """An input port the harness drives, and the key of the binding that says so."""

    key: tuple[str, ...]
    port: str
    active: Active


class Watched(NamedTuple):
    """What the harness observes: a Verilog expression relative to the core's instance.

    With `parts` it is what they make by the operator `by`, or side by side without one; each part
    is seen `delay` cycles later. The width of a part side by side is its own signal's: 0 here.
    """

    lane: str
    expression: str
    width: int
    active: Active
    key: tuple[str | int, ...]
    parts: tuple[Watched, ...] = ()
    by: str = ""
    delay: int = 0

    @property
    def signals(self) -> tuple[Watched, ...]:
        """The signals it is seen on."""
        return self.parts or (self,)


class Gates(Schema):
    """Ports of the outside enables of the transfer (B15)."""

    now_called: ClassVar[Mapping[str, str]] = {
        "master": "master_enable",
        "channel": "channel_enable",
    }

    master_enable: LevelPin | None = None
    channel_enable: LevelPin | None = None

    def driven(self) -> Iterator[Driven]:
        """Yield the gates the core takes on ports."""
        for name in GATES:
            signal = getattr(self, name)
            if signal is not None:
                yield Driven(("gates", name), signal.port, signal.active)


class Memory(Schema):
    """Memory slots: on an edge with `slot` granted and `request` up, one word moves.

    It moves to memory from `data_out` where `store` is up, else from memory on `data_in`.

    A core without memory slots takes each word for the disk from its host, `written_at` an address
    of its bus while `request` is up; it reads no words from the disk.
    """

    request: ObservedSignal
    slot: Pin | None = None
    store: ObservedSignal | None = None
    data_out: str | None = None
    data_in: str | None = None
    written_at: Natural | None = None

    def driven(self) -> Iterator[Driven]:
        """Yield the inputs of the core."""
        if self.slot is not None:
            yield Driven(("memory", "slot"), self.slot.port, self.slot.active)
        if self.data_in is not None:
            yield Driven(("memory", "data_in"), self.data_in, "high")

    def watched(self) -> Iterator[Watched]:
        """Yield what the harness looks at when a slot is granted."""
        for name in ("request", "store"):
            shown = getattr(self, name)
            if shown is not None:
                yield Watched(name, shown.signal, 1, shown.active, ("memory", name))
        if self.data_out is not None:
            yield Watched("data_out", self.data_out, 16, "high", ("memory", "data_out"))


class Lines(Schema):
    """Output lines beside status: compared in every cycle where the core shows them."""

    write_gate: ObservedSignal | None = None
    write_data: PulseLine | None = None
    sync_found: ObservedSignal | None = None
    transfer_done: ObservedSignal | None = None

    def watched(self) -> Iterator[Watched]:
        """Yield the lines the core shows."""
        for name in LINES:
            shown = getattr(self, name)
            if shown is not None:
                yield Watched(name, shown.signal, 1, shown.active, ("lines", name))
