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
    signal: Names
    active: Active = "high"


class PulseLine(Line):
    """A recorded output line that pulses for `cycles` cycles, or changes its level instead."""

    form: Literal["pulse", "toggle"] = "pulse"
    cycles: int = Key(1, ge=1, le=64)


class ClockPart(Schema):
    """The clock of the controller; only its edges with `enable` active are cycles.

    `sampled` says that the capture was sampled by a clock of its own: what edge a change belongs
    to is then told from its time. A signal shows a new value up to `settle_ns` after its edge;
    samples may be `jitter_ns` off, and `sample_ns` apart, which is found from the capture if not
    given.
    """

    signal: str
    edge: Literal["rising", "falling"] = "rising"
    enable: Line | None = None
    sampled: bool = False
    sample_ns: float | None = Key(None, gt=0, le=1e6)
    settle_ns: float = Key(30, ge=0, le=1e6)
    jitter_ns: float = Key(1, ge=0, le=1e6)


class DiskPart(Schema):
    """Where the disk enters: channel bits with a strobe, or flux pulses, and the index line.

    A channel bit counts `latency` edges later than it was recorded.
    """

    strobe: Line | None = None
    value: Line | None = None
    flux: Line | None = None
    index: Line | None = None
    latency: int = Key(0, ge=0, le=64)

    @model_validator(mode="after")
    def _both(self) -> DiskPart:
        if (self.strobe is None) != (self.value is None):
            raise ValueError("strobe and value go together: a channel bit needs both")
        return self


class SharedBus(Schema):
    """A data bus for both directions, and what is up while the core drives it."""

    signal: Names
    drives: Line | None = None


class Acknowledged(Line):
    """An output of the core that ends an access, at the latest `timeout` cycles from its first."""

    timeout: int = Key(64, ge=1, le=4096)


class ByteStrobes(Schema):
    """Data strobes of the two bytes of a word."""

    high: Line
    low: Line


class BusPart(Schema):
    """The host's accesses, as recorded.

    A strobe that stays active over several cycles is an access in each of them (`held`), or one in
    the first or the last, as `acts` says. It counts `latency` edges later, a write `write_latency`
    more, and what a read returns is there `read_latency` edges after that. Without an address every
    read is one of status.

    With `acknowledge` an access is one, and counts at its first edge or at the one that samples the
    acknowledge; what it returns is there at that one. `decoded` has the address lines that count.
    """

    address: Names | None = None
    read: Line | None = None
    select: Line | None = None
    write: Line | None = None
    write_data: Names | None = None
    read_data: Names | None = None
    data: SharedBus | None = None
    strobes: ByteStrobes | None = None
    byte_order: Literal["straight", "swapped"] = "straight"
    acknowledge: Acknowledged | None = None
    decoded: int | None = Key(None, ge=0)
    registers: Registers
    read_latency: int = Key(0, ge=0, le=256)
    latency: int = Key(0, ge=0, le=256)
    write_latency: int = Key(0, ge=0, le=256)
    acts: Literal["first", "last", "held"] = "held"

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
    """Level inputs of the model that were recorded; each acts `latency` edges later.

    On a `straight` path status shows a level in the very cycle in which it changes.
    """

    dma_active: Line | None = None
    writing: Line | None = None
    wait_for_sync: Line | None = None
    master_enable: Line | None = None
    channel_enable: Line | None = None
    latency: int = Key(0, ge=0, le=64)
    path: Literal["registered", "straight"] = "registered"

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
    write_data: PulseLine | None = None
    sync_found: PulseLine | None = None
    transfer_done: PulseLine | None = None


class MemoryPart(Schema):
    """Memory slots: on an edge with `slot` granted and `request` up, one word moves.

    It moves to memory from `data_out` where `store` is up, else from memory on `data_in`.
    """

    slot: Line
    request: Line
    store: Line
    data_out: Names
    data_in: Names


class ObservePart(Schema):
    """What shows without being read: status as a word, or field by field."""

    status: Names | None = None
    fields: dict[str, Line] = Key({})

    @model_validator(mode="after")
    def _known(self) -> ObservePart:
        for name in self.fields:
            if name not in FIELD_NAMES:
                raise ValueError(f"fields: '{name}' is no field of status{near(name, FIELD_NAMES)}")
        return self


class BeginPart(Schema):
    """What is known of the controller where a capture begins in the middle, without a reset.

    `stopped` says that no transfer of its own is under way there.
    """

    sync_word: int | None = Key(None, ge=0, le=0xFFFF)
    control: int = Key(0, ge=0, le=0x7FFF)
    stopped: bool = False
