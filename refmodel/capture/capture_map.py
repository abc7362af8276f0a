"""The map of a capture: which recorded signal plays which role, as a binding names them.

    profile: pal_dd
    clock: {signal: bench.clk, enable: bench.clk_en}
    reset: {signal: bench.rst, active: high}
    disk:  {strobe: bench.bit_stb, value: bench.bit_in}
    bus:
      address: bench.adr
      read: bench.rd
      write: bench.wr
      write_data: bench.din
      read_data: bench.dout
      registers: {status: 0x4, sync_word: 0x8}
    observe: {status: bench.status}

A name may leave out its first scopes; a list of names, the highest bit first, makes a vector.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, ClassVar, Literal, NamedTuple

from pydantic import Field as Key
from pydantic import PrivateAttr, model_validator

from refmodel.block.fields import FIELD_NAMES, STATUS_FIELDS, STATUS_WIDTH, UNUSED
from refmodel.block.settings import Policies
from refmodel.capture.columns import TablePart
from refmodel.engine.comparison import Held
from refmodel.ground.errors import InputError, near
from refmodel.ground.yamlfile import Document, Schema, ShortForm, load
from refmodel.host.addresses import Registers
from refmodel.profile import Profile, load_profile

Active = Literal["high", "low"]
Names = str | list[str]
LEVELS = ("dma_active", "writing", "wait_for_sync", "master_enable", "channel_enable")
LINES = ("write_gate", "write_data", "sync_found", "transfer_done")
STATUS = "status"


class Line(ShortForm):
    """A recorded signal: its name, or `{signal: name, active: low}`."""

    short: ClassVar[str] = "signal"
    signal: Names
    active: Active = "high"


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


class BusPart(Schema):
    """The host's accesses, as recorded.

    A strobe that stays active over several cycles is an access in each of them (`held`), or one in
    the first or the last, as `acts` says. It counts `latency` edges later, a write `write_latency`
    more, and what a read returns is there `read_latency` edges after that. Without an address every
    read is one of status.
    """

    address: Names | None = None
    read: Line | None = None
    select: Line | None = None
    write: Line | None = None
    write_data: Names | None = None
    read_data: Names | None = None
    registers: Registers
    read_latency: int = Key(0, ge=0, le=256)
    latency: int = Key(0, ge=0, le=256)
    write_latency: int = Key(0, ge=0, le=256)
    acts: Literal["first", "last", "held"] = "held"

    @property
    def depths(self) -> tuple[int, int]:
        """How many edges later a read and a write count."""
        return self.latency, self.latency + self.write_latency


class InputsPart(Schema):
    """Level inputs of the model that were recorded; each acts `latency` edges later."""

    dma_active: Line | None = None
    writing: Line | None = None
    wait_for_sync: Line | None = None
    master_enable: Line | None = None
    channel_enable: Line | None = None
    latency: int = Key(0, ge=0, le=64)


class LinesPart(Schema):
    """Output lines that were recorded."""

    write_gate: Line | None = None
    write_data: Line | None = None
    sync_found: Line | None = None
    transfer_done: Line | None = None


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


class Role(NamedTuple):
    """A role and the signals that play it, the highest bit first."""

    name: str
    signals: tuple[str, ...]
    active_low: bool
    key: tuple[str, ...]


class CaptureMap(Schema):
    """A whole map. Load it with `load_map`, which knows where each key stands."""

    profile: str = "pal_dd"
    file: TablePart = TablePart()
    policies: dict[str, str] = Key({})
    clock: ClockPart
    reset: Line | None = None
    disk: DiskPart = DiskPart()
    bus: BusPart | None = None
    inputs: InputsPart = InputsPart()
    lines: LinesPart = LinesPart()
    observe: ObservePart = ObservePart()
    begin: BeginPart = BeginPart()
    latency: dict[str, Annotated[int, Key(ge=0, le=4096)]] = Key({})
    glitch_ns: float = Key(0, ge=0, le=1e6)

    _document: Document | None = PrivateAttr(None)

    @model_validator(mode="after")
    def _known_fields(self) -> CaptureMap:
        known = (*FIELD_NAMES, UNUSED, STATUS, *LINES)
        for name in self.latency:
            if name not in known:
                raise ValueError(f"latency: '{name}' is no field or line{near(name, known)}")
        for name in self.policies:
            if name not in Policies.model_fields:
                raise ValueError(
                    f"policies: '{name}' is no policy{near(name, Policies.model_fields)}"
                )
        return self

    def fault(self, key: tuple[str, ...], message: str) -> InputError:
        """Return the error of a key that only the capture shows to be wrong."""
        assert self._document is not None
        return InputError([self._document.problem(key, message)])

    def load_profile(self) -> Profile:
        """Return the profile with the map's policies."""
        folder = self._document.path.parent if self._document is not None else None
        return load_profile(self.profile, folder).with_policies(self.policies)

    def roles(self) -> list[Role]:
        """Return every role that is mapped."""
        return list(self._roles())

    def _roles(self) -> Iterator[Role]:
        yield _role("clock", self.clock.signal, ("clock", "signal"))
        if self.clock.enable is not None:
            yield _role("enable", self.clock.enable, ("clock", "enable"))
        if self.reset is not None:
            yield _role("reset", self.reset, ("reset",))
        for part in ("disk", "inputs", "lines"):
            for name in type(getattr(self, part)).model_fields:
                if name == "latency":
                    continue
                yield from _maybe(name, getattr(getattr(self, part), name), (part, name))
        if self.bus is not None:
            for name in ("address", "read", "select", "write", "write_data", "read_data"):
                role = f"bus_{name}"
                yield from _maybe(role, getattr(self.bus, name), ("bus", name))
        yield from _maybe(STATUS, self.observe.status, ("observe", STATUS))
        for name, line in self.observe.fields.items():
            yield _role(f"field_{name}", line, ("observe", "fields", name))

    @property
    def observed(self) -> dict[str, str]:
        """The role that shows each field of status; `status` shows all of them."""
        if self.observe.status is not None:
            return dict.fromkeys((*FIELD_NAMES, UNUSED), STATUS)
        return {name: f"field_{name}" for name in self.observe.fields}

    def lag(self, field: str) -> int:
        """Return how many cycles a field or line may come after the model's."""
        return self.latency.get(field, self.latency.get(STATUS, 0) if field not in LINES else 0)

    def held(self) -> Held:
        """Return what is held to the model."""
        reads = self.bus is not None and self.bus.read_data is not None
        fields = (*FIELD_NAMES, UNUSED) if reads else tuple(self.observed)
        lines = [name for name in LINES if getattr(self.lines, name) is not None]
        return Held(
            {name: self.lag(name) for name in fields}, {name: self.lag(name) for name in lines}
        )

    @property
    def own_transfers(self) -> bool:
        """Whether the controller has transfers of its own that the capture can start."""
        return self.bus is not None and self.bus.registers.transfer is not None


FIELD_WIDTHS = {field.name: field.width for field in STATUS_FIELDS}
WIDTHS = {
    "bus_write_data": STATUS_WIDTH,
    "bus_read_data": STATUS_WIDTH,
    STATUS: STATUS_WIDTH,
    "bus_address": 32,
    **{f"field_{name}": width for name, width in FIELD_WIDTHS.items()},
}


def _role(name: str, line: Line | Names, key: tuple[str, ...]) -> Role:
    """Return a role of one or more signals."""
    low = isinstance(line, Line) and line.active == "low"
    names = line.signal if isinstance(line, Line) else line
    return Role(name, (names,) if isinstance(names, str) else tuple(names), low, key)


def _maybe(name: str, line: Line | Names | None, key: tuple[str, ...]) -> Iterator[Role]:
    if line is not None:
        yield _role(name, line, key)


def load_map(path: Path) -> CaptureMap:
    """Load and check a map; raise InputError with every fault at its place."""
    document = load(path)
    given = document.validate(CaptureMap)
    given._document = document
    disk, bus = given.disk, given.bus
    if disk.strobe is None and disk.flux is None:
        raise given.fault(("disk",), "needs strobe and value, or flux: what the disk gave")
    if bus is not None and (bus.select is None) == (bus.read is None):
        raise given.fault(("bus",), "needs read, or select with write for the direction; not both")
    if not given.observed and (bus is None or bus.read_data is None):
        raise given.fault(("observe",), "needs status or fields, or bus.read_data: nothing to hold")
    return given
