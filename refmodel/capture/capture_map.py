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
from typing import Annotated, NamedTuple

from pydantic import Field as Key
from pydantic import PrivateAttr, model_validator

from refmodel.block.fields import FIELD_NAMES, STATUS_FIELDS, STATUS_WIDTH, UNUSED
from refmodel.block.settings import Policies
from refmodel.capture.columns import TablePart
from refmodel.capture.map_parts import (
    BeginPart,
    BusPart,
    ClockPart,
    DiskPart,
    InputsPart,
    Line,
    LinesPart,
    MemoryPart,
    Names,
    ObservePart,
)
from refmodel.engine.comparison import Held
from refmodel.ground.errors import InputError, near
from refmodel.ground.yamlfile import Document, Schema, load
from refmodel.profile import Profile, profile_named_in

LEVELS = ("dma_active", "writing", "wait_for_sync", "master_enable", "channel_enable")
LINES = ("write_gate", "write_data", "sync_found", "transfer_done")
STATUS = "status"
BUS_LINES = ("read", "select", "write", "acknowledge")


class Role(NamedTuple):
    """A role and the signals that play it, the highest bit first."""

    name: str
    signals: tuple[str, ...]
    active_low: bool
    key: tuple[str, ...]


class CaptureMap(Schema):
    """A whole map. Load it with `load_map`, which knows where each key stands."""

    profile: str = "pal_dd"
    """The controller: a profile by name, or a YAML file."""
    file: TablePart = TablePart()
    """How a table is read; not for waveforms."""
    policies: dict[str, str] = Key({})
    """Policies that differ from the profile's, e.g. `{ready_tie: clear_wins}`."""
    clock: ClockPart
    """The controller's clock."""
    reset: Line | None = None
    """The reset."""
    disk: DiskPart = DiskPart()
    """Where the disk enters: channel bits or flux pulses."""
    bus: BusPart | None = None
    """The host's accesses."""
    inputs: InputsPart = InputsPart()
    """Levels from outside."""
    lines: LinesPart = LinesPart()
    """Output lines."""
    memory: MemoryPart | None = None
    """Words to and from memory."""
    observe: ObservePart = ObservePart()
    """Signals that show the state without a read."""
    begin: BeginPart = BeginPart()
    """What is known where the capture begins without a reset."""
    latency: dict[str, Annotated[int, Key(ge=0, le=4096)]] = Key({})
    """For a field or line: cycles by which it lags the model, e.g. `{status: 1}`."""
    glitch_ns: float = Key(0, ge=0, le=1e6)
    """Shorter pulses are left out."""

    _document: Document | None = PrivateAttr(None)
    _held_levels: tuple[str, ...] = PrivateAttr(())

    @model_validator(mode="after")
    def _known_fields(self) -> CaptureMap:
        known = (*FIELD_NAMES, UNUSED, STATUS, *LINES)
        for name in self.latency:
            if name not in known:
                raise ValueError(f"latency: '{name}' is not a field or line{near(name, known)}")
        for name in self.policies:
            if name not in Policies.model_fields:
                raise ValueError(
                    f"policies: '{name}' is not a policy{near(name, Policies.model_fields)}"
                )
        return self

    def fault(self, key: tuple[str, ...], message: str) -> InputError:
        """Return the error of a key that only the capture shows to be wrong."""
        assert self._document is not None
        return InputError([self._document.problem(key, message)])

    def load_profile(self) -> Profile:
        """Return the profile with the map's policies."""
        assert self._document is not None
        return profile_named_in(self._document, self.profile).with_policies(self.policies)

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
                if name in ("latency", "path"):
                    continue
                yield from _maybe(name, getattr(getattr(self, part), name), (part, name))
        if self.bus is not None:
            yield from self._bus_roles(self.bus)
        if self.memory is not None:
            for name in MemoryPart.model_fields:
                role = f"memory_{name}"
                yield from _maybe(role, getattr(self.memory, name), ("memory", name))
        yield from _maybe(STATUS, self.observe.status, ("observe", STATUS))
        for name, line in self.observe.fields.items():
            yield _role(f"field_{name}", line, ("observe", "fields", name))

    def _bus_roles(self, bus: BusPart) -> Iterator[Role]:
        """Yield the roles of the host's side."""
        for name in (*BUS_LINES, "address", "write_data", "read_data"):
            yield from _maybe(f"bus_{name}", getattr(bus, name), ("bus", name))
        if bus.data is not None:
            for name in ("write_data", "read_data"):
                yield from _maybe(f"bus_{name}", bus.data.signal, ("bus", "data", "signal"))
            yield from _maybe("bus_drives", bus.data.drives, ("bus", "data", "drives"))
        if bus.strobes is not None:
            for name in ("high", "low"):
                yield from _maybe(
                    f"bus_{name}", getattr(bus.strobes, name), ("bus", "strobes", name)
                )

    @property
    def observed(self) -> dict[str, str]:
        """The role that shows each field of status; `status` shows all of them."""
        if self.observe.status is not None:
            return dict.fromkeys((*FIELD_NAMES, UNUSED), STATUS)
        return {name: f"field_{name}" for name in self.observe.fields}

    @property
    def levels(self) -> list[str]:
        """The levels that the map gives: by a signal, or as held all the time."""
        return [
            name
            for name in LEVELS
            if name in self._held_levels or getattr(self.inputs, name) is not None
        ]

    def holding(self, *levels: str) -> CaptureMap:
        """Return the map with levels that no signal shows, but that were held all the time."""
        made = self.model_copy()
        made._held_levels = levels
        return made

    def lag(self, field: str) -> int:
        """Return how many cycles a field or line may come after the model's."""
        return self.latency.get(field, self.latency.get(STATUS, 0) if field not in LINES else 0)

    def held(self) -> Held:
        """Return what is held to the model."""
        reads = self.bus is not None and self.bus.reads_data
        fields = (*FIELD_NAMES, UNUSED) if reads else tuple(self.observed)
        lines = [name for name in LINES if getattr(self.lines, name) is not None]
        return Held(
            {name: self.lag(name) for name in fields},
            {name: self.lag(name) for name in lines},
            memory=self.memory is not None and not self.clock.sampled,
        )

    @property
    def own_transfers(self) -> bool:
        """Whether the controller has transfers of its own that the capture can start."""
        return self.bus is not None and self.bus.registers.transfer is not None


FIELD_WIDTHS = {field.name: field.width for field in STATUS_FIELDS}
WIDTHS = {
    "bus_write_data": STATUS_WIDTH,
    "bus_read_data": STATUS_WIDTH,
    "memory_data_out": STATUS_WIDTH,
    "memory_data_in": STATUS_WIDTH,
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
    if not given.observed and (bus is None or not bus.reads_data):
        raise given.fault(("observe",), "needs status or fields, or bus.read_data: nothing to hold")
    return given
