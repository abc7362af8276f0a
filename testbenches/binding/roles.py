"""Roles of a core that has more than the status register: gates, memory and output lines."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import ClassVar, Literal, NamedTuple

from pydantic import Field as Key
from pydantic import model_validator

from refmodel.ground.yamlfile import Schema, ShortForm
from refmodel.host.addresses import Natural
from refmodel.host.lacking import FROM_MEMORY, TO_MEMORY

Active = Literal["high", "low"]
GATES = ("master_enable", "channel_enable")
LINES = ("write_gate", "write_data", "sync_found", "transfer_done")
MOVES = "memory"  # the words moved to and from memory, where a lane or a field is named


class Pin(ShortForm):
    """A port of the core: `rd`, or `{port: rd, active: low}`."""

    short: ClassVar[str] = "port"
    called: ClassVar[tuple[str, str]] = ("a port", "ports")
    port: str
    """The port's name."""
    active: Active = "high"
    """The level at which it is on."""


class LevelPin(Pin):
    """A level input, registered by the block or passed straight into status."""

    called: ClassVar[tuple[str, str]] = ("a level", "levels")
    path: Literal["registered", "straight"] = "registered"
    """`straight`: not registered, so a level shows in status in the cycle in which it changes."""
    latency: int = Key(0, ge=0, le=64)
    """Registers before the block's own: edges."""


class PulseLine(ShortForm):
    """An output line that pulses, or changes its level instead."""

    short: ClassVar[str] = "signal"
    called: ClassVar[tuple[str, str]] = ("a pulsing line", "pulsing lines")
    signal: str
    """The port or inner signal."""
    active: Active = "high"
    """The level at which it is on."""
    form: Literal["pulse", "toggle"] = "pulse"
    """`toggle`: the line changes its level instead."""
    cycles: int = Key(1, ge=1, le=64)
    """The length of a pulse in cycles."""


class ObservedSignal(ShortForm):
    """A port or hierarchical name that shows one field without side effects."""

    short: ClassVar[str] = "signal"
    called: ClassVar[tuple[str, str]] = ("a signal", "signals")
    signal: str
    """A port, or an inner name such as `u0.ready`."""
    active: Active = "high"
    """The level at which it is on."""


class FieldPart(ObservedSignal):
    """One of the signals a field is joined from."""

    called: ClassVar[tuple[str, str]] = ("a joined signal", "joined signals")
    delay: int = Key(0, ge=0, le=64)
    """Cycles it is delayed, to line up with signals that come later."""


class ObservedField(ShortForm):
    """What shows a field: one signal, or several that are joined."""

    short: ClassVar[str] = "signal"
    called: ClassVar[tuple[str, str]] = ("a field's signal", "fields' signals")
    signal: str | None = None
    """The one signal that shows the field."""
    joined: list[FieldPart] = Key([])
    """Several signals that make the field."""
    by: Literal["bits", "and", "or", "xor"] = "bits"
    """How: `bits` puts them side by side, the first one highest."""
    active: Active = "high"
    """`low` inverts the whole value."""

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
    """The enable of all transfers."""
    channel_enable: LevelPin | None = None
    """The enable of the disk's transfers."""

    def driven(self) -> Iterator[Driven]:
        """Yield the gates the core takes on ports."""
        for name in GATES:
            signal = getattr(self, name)
            if signal is not None:
                yield Driven(("gates", name), signal.port, signal.active)


class Memory(Schema):
    """Words to and from memory: in memory slots, or written by the host.

    A core without memory slots, whose host writes the words, reads none from the disk. One that
    moves words one way only leaves out `data_in` or `data_out`, and can leave out `store`.
    """

    request: ObservedSignal
    """Up while the core wants a slot, or with `written_at` a word."""
    slot: Pin | None = None
    """On at an edge with a memory slot; one word moves when `request` is up."""
    store: ObservedSignal | None = None
    """Up when the word goes to memory, down when it comes from there."""
    data_out: str | None = None
    """The port of a word to memory; without it no transfer goes there."""
    data_in: str | None = None
    """The port of a word from memory; without it no transfer comes from there."""
    written_at: Natural | None = None
    """Instead of slots: the address at which the host writes each word for the disk."""

    @property
    def ways_lacking(self) -> set[str]:
        """The ways in which no words go."""
        if self.written_at is not None:
            return {TO_MEMORY}
        ways = {TO_MEMORY: self.data_out, FROM_MEMORY: self.data_in}
        return {way for way, port in ways.items() if port is None}

    @property
    def stores(self) -> int:
        """The level of `store` in a core that has none: 1 where words go to memory only."""
        return int(TO_MEMORY not in self.ways_lacking)

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
    """Open while the block writes (B11)."""
    write_data: PulseLine | None = None
    """A pulse for each 1 that is written (B11); overrides the profile's `write_pulse`."""
    sync_found: ObservedSignal | None = None
    """Pulses when `sync_equal` rises (B12)."""
    transfer_done: ObservedSignal | None = None
    """Pulses when a transfer's length reaches zero (B10, B12)."""

    def watched(self) -> Iterator[Watched]:
        """Yield the lines the core shows."""
        for name in LINES:
            shown = getattr(self, name)
            if shown is not None:
                yield Watched(name, shown.signal, 1, shown.active, ("lines", name))
