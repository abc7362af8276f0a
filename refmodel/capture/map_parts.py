"""The parts of a capture's map: which recorded signal is what, as a binding names it."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field as Key
from pydantic import model_validator

from refmodel.block.fields import FIELD_NAMES
from refmodel.ground.errors import near
from refmodel.ground.yamlfile import Schema, ShortForm
from refmodel.host.addresses import Registers

Active = Literal["high", "low"]
Names = str | Annotated[list[str], Key(min_length=1)]


class Line(ShortForm):
    """A recorded signal: its name, or `{signal: name, active: low}`."""

    short: ClassVar[str] = "signal"
    called: ClassVar[tuple[str, str]] = ("a signal", "signals")
    signal: Names
    """The signal's name; of several, the highest bit first."""
    active: Active = "high"
    """The level at which it is on."""


class PulseLine(Line):
    """A recorded output line that pulses, or changes its level instead."""

    called: ClassVar[tuple[str, str]] = ("a pulsing line", "pulsing lines")
    form: Literal["pulse", "toggle"] = "pulse"
    """`toggle`: the line changes its level instead."""
    cycles: int = Key(1, ge=1, le=64)
    """The length of a pulse in cycles."""


class ClockPart(Schema):
    """The clock of the controller."""

    signal: str
    """The clock, or with `sampled` any strobe in step with it."""
    edge: Literal["rising", "falling"] = "rising"
    """The edge at which registers move."""
    enable: Line | None = None
    """Only edges with it on are cycles."""
    sampled: bool = False
    """The capture has its own clock, like that of a logic analyser: the edge of a change is found
    from its time."""
    sample_ns: float | None = Key(None, gt=0, le=1e6)
    """From sample to sample; without it found from the capture."""
    settle_ns: float = Key(30, ge=0, le=1e6)
    """The longest time from an edge until a signal has its new value."""
    jitter_ns: float = Key(1, ge=0, le=1e6)
    """Samples may be so far off."""


class DiskPart(Schema):
    """Where the disk enters: channel bits with a strobe, or flux pulses, and the index line."""

    strobe: Line | None = None
    """On at an edge that takes a channel bit."""
    value: Line | None = None
    """The channel bit."""
    flux: Line | None = None
    """The read-data line."""
    index: Line | None = None
    """The index line."""
    latency: int = Key(0, ge=0, le=64)
    """How many edges later than recorded a channel bit counts."""

    @model_validator(mode="after")
    def _both(self) -> DiskPart:
        if (self.strobe is None) != (self.value is None):
            raise ValueError("strobe and value go together: a channel bit needs both")
        return self


class SharedBus(Schema):
    """A data bus for both directions, and what is up while the core drives it."""

    signal: Names
    """The bus."""
    drives: Line | None = None
    """Up while the core drives it; a read without has no value."""


class Acknowledged(Line):
    """An output of the core that ends an access."""

    called: ClassVar[tuple[str, str]] = ("an acknowledge", "acknowledges")
    timeout: int = Key(64, ge=1, le=4096)
    """An access ends within this many cycles."""


class ByteStrobes(Schema):
    """Data strobes of the two bytes of a word."""

    high: Line
    """The strobe of the high byte."""
    low: Line
    """The strobe of the low byte."""


class BusPart(Schema):
    """The host's accesses, as recorded.

    What an access with `acknowledge` returns is there at the edge it counts at.
    """

    address: Names | None = None
    """The address; without it every read is one of status."""
    read: Line | None = None
    """The read strobe."""
    select: Line | None = None
    """Instead of a read strobe: on in any access."""
    write: Line | None = None
    """The write strobe; with `select`, up in writes."""
    write_data: Names | None = None
    """Data written."""
    read_data: Names | None = None
    """Data read."""
    data: SharedBus | None = None
    """Instead of both: one bus for both directions."""
    strobes: ByteStrobes | None = None
    """Data strobes of the two bytes."""
    byte_order: Literal["straight", "swapped"] = "straight"
    """`swapped`: the high byte is on the low lines."""
    acknowledge: Acknowledged | None = None
    """An output that ends an access, which counts at its first edge or, with `acts: last`, at
    the one that samples this."""
    decoded: int | None = Key(None, ge=0)
    """The address lines that count, as a mask."""
    registers: Registers
    """The registers on the bus."""
    read_latency: int = Key(0, ge=0, le=256)
    """Edges from the one at which a read acts until its data is there."""
    latency: int = Key(0, ge=0, le=256)
    """How many edges later an access counts."""
    write_latency: int = Key(0, ge=0, le=256)
    """How many edges later than a read a write acts."""
    acts: Literal["first", "last", "held"] = "held"
    """A strobe that stays on is one access, in its first or last cycle, or one in each (`held`)."""

    @model_validator(mode="after")
    def _one_bus(self) -> BusPart:
        if self.data is not None and (self.read_data or self.write_data):
            raise ValueError("data is one bus for both directions: leave out read_data, write_data")
        return self

    @property
    def reads_data(self) -> bool:
        """Whether what reads return was recorded."""
        return self.read_data is not None or self.data is not None

    @property
    def waits(self) -> int:
        """How many edges after its first an access may be answered at most."""
        return self.acknowledge.timeout if self.acknowledge is not None else 0

    @property
    def depths(self) -> tuple[int, int]:
        """How many edges later a read and a write count."""
        return self.latency, self.latency + self.write_latency


class InputsPart(Schema):
    """Level inputs of the model that were recorded."""

    dma_active: Line | None = None
    """A transfer outside the core is running (B6)."""
    writing: Line | None = None
    """A transfer outside the core writes (B7)."""
    wait_for_sync: Line | None = None
    """Bytes are framed anew by a match (B4, B10)."""
    master_enable: Line | None = None
    """The enable of all transfers (B15)."""
    channel_enable: Line | None = None
    """The enable of the disk's transfers (B15)."""
    latency: int = Key(0, ge=0, le=64)
    """How many edges later all of them act."""
    path: Literal["registered", "straight"] = "registered"
    """`straight`: status shows a level in the cycle in which it changes."""

    @model_validator(mode="after")
    def _straight(self) -> InputsPart:
        if self.path == "straight" and self.latency:
            raise ValueError(f"latency {self.latency}: a straight path has no register")
        return self

    @property
    def late(self) -> int:
        """By how many edges a level acts later; -1 on a straight path."""
        return -1 if self.path == "straight" else self.latency


class LinesPart(Schema):
    """Output lines that were recorded."""

    write_gate: Line | None = None
    """Open while the block writes (B11)."""
    write_data: PulseLine | None = None
    """A pulse for each 1 that is written (B11)."""
    sync_found: PulseLine | None = None
    """Pulses when `sync_equal` rises (B12)."""
    transfer_done: PulseLine | None = None
    """Pulses when a transfer's length reaches zero (B10, B12)."""


class MemoryPart(Schema):
    """Words to and from memory, in memory slots."""

    slot: Line
    """On at an edge with a memory slot; one word moves when `request` is up."""
    request: Line
    """Up while the core wants a slot."""
    store: Line
    """Up when the word goes to memory, down when it comes from there."""
    data_out: Names
    """A word to memory."""
    data_in: Names
    """A word from memory."""


class ObservePart(Schema):
    """What shows without being read: status as a word, or field by field."""

    status: Names | None = None
    """The status word."""
    fields: dict[str, Line] = Key({})
    """Instead of `status`: its fields one by one."""

    @model_validator(mode="after")
    def _known(self) -> ObservePart:
        for name in self.fields:
            if name not in FIELD_NAMES:
                raise ValueError(
                    f"fields: '{name}' is not a field of status{near(name, FIELD_NAMES)}"
                )
        return self


class BeginPart(Schema):
    """What is known of the controller where a capture begins in the middle, without a reset."""

    sync_word: int | None = Key(None, ge=0, le=0xFFFF)
    """What `sync_word` holds."""
    control: int = Key(0, ge=0, le=0x7FFF)
    """What `control` holds."""
    stopped: bool = False
    """No transfer of the controller is running."""
