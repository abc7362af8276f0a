"""binding.yaml as data: the roles a core's ports play, and what follows from them alone.

`load.load_binding` checks everything that can be said without the core's sources; `ports.preflight`
checks the rest against the real ports.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field as Key
from pydantic import PrivateAttr

from refmodel.block.control import WAIT_FOR_SYNC
from refmodel.block.fields import FIELD_NAMES, STATUS_FIELDS, STATUS_WIDTH
from refmodel.engine.inner import INSIDE
from refmodel.ground.bus import HIGH, LOW, BusShape
from refmodel.ground.word import WORD
from refmodel.ground.yamlfile import Document, Schema
from refmodel.host.addresses import Natural, StatusAddress, WordAddress
from refmodel.media.flux import pulse_width
from refmodel.profile import Profile, load_profile
from testbenches.binding.bus import (
    REGISTERS,
    STATUS,
    AccessCycle,
    Bus,
)
from testbenches.binding.drive import DriveRoles
from testbenches.binding.pins import LEVEL_INPUTS, ClockPins, DiskPins, InputPins, Reset
from testbenches.binding.roles import (
    GATES,
    Driven,
    Gates,
    LevelPin,
    Lines,
    Memory,
    ObservedField,
    ObservedSignal,
    Watched,
)
from testbenches.binding.separator import ChannelBit, SeparatorKeys

RECORD = 32  # bits of a word of the record: no lane has more
PADDING = ""  # the name of bits of the record that hold nothing


class Core(Schema):
    """The user's Verilog; paths and globs are relative to the binding's folder."""

    top: str
    """The top module."""
    sources: list[str] = Key(min_length=1)
    """Files, folders, patterns such as `rtl/*.v`, or lists of files of other tools."""
    include_dirs: list[str] = Key([])
    """Folders that `` `include `` looks in."""
    defines: dict[str, str | int | None] = Key({})
    """Macros, each with its value; null for one that is defined without a value."""
    parameters: dict[str, int | str] = Key({})
    """Parameters of the top module, each with its value."""


class Observe(Schema):
    """What shows without being read: status as a word or field by field, and what is inside."""

    status: str | None = None
    """The status word: a port or an inner name that shows it without a read."""
    fields: dict[str, ObservedField] = Key({})
    """Instead of `status`: its fields one by one, by their names in SPEC."""
    channel_bit: ChannelBit | None = None
    """The output of the core's own data separator; only if the core takes flux."""
    sync_word: ObservedSignal | None = None
    """The register, 16 bits (B3)."""
    control: ObservedSignal | None = None
    """The register, 5 bits, as in SPEC's table of control (B13)."""
    window: ObservedSignal | None = None
    """The last 16 channel bits, the newest in bit 0 (B2)."""
    bit_count: ObservedSignal | None = None
    """3 bits: how many channel bits of the current byte have come (B4)."""
    lost_words: ObservedSignal | None = None
    """16 bits: how many words found the FIFO full (B10)."""
    underruns: ObservedSignal | None = None
    """16 bits: how many zeros were written because no word was there (B11)."""

    def inner(self) -> Iterator[Watched]:
        """Yield the registers and counters inside that the core shows."""
        for name, width in INSIDE.items():
            shown = getattr(self, name)
            if shown is not None:
                yield Watched(name, shown.signal, width, shown.active, ("observe", name))


class Waiver(Schema):
    """A field whose mismatches do not count yet."""

    field: str
    """The field of status or inner register that is not compared."""
    reason: str = Key(min_length=1)
    """The reason; every report repeats it."""
    until: date
    """The last day it holds, e.g. 2027-01-31."""


class Prove(Schema):
    """What `cellstep prove` may assume of the host and the disk, and what may help it."""

    bit_every: int = Key(1, ge=1, le=1024)
    """At most one channel bit comes in this many cycles."""
    access_every: int = Key(1, ge=1, le=1024)
    """At most one access begins in this many cycles."""
    hints: dict[str, str] = Key({})
    """For a register of the core, by its inner name: the part of the model it holds. It is tried,
    not assumed."""


class Binding(Schema):
    """A whole binding.yaml. Load it with `load_binding`, which knows where each key stands."""

    core: Core
    """The user's Verilog."""
    profile: str
    """Clock rate, channel-bit time and policies: a profile by name, or a YAML file."""
    policies: dict[str, str] = Key({})
    """Policies that differ from the profile's, e.g. `{ready_tie: clear_wins}`."""
    clock: ClockPins
    """The clock, and which of its edges are cycles."""
    reset: Reset
    """The reset, or that there is none."""
    disk: DiskPins
    """Where the disk enters: channel bits or flux pulses."""
    bus: Bus | None = None
    """The host's side: strobes, address, data, registers."""
    inputs: InputPins = InputPins()
    """Level inputs that the core has on ports (B6, B7, B10)."""
    gates: Gates = Gates()
    """The outside enables of the transfer (B15)."""
    memory: Memory | None = None
    """How words go to and from memory (B10, B11)."""
    lines: Lines = Lines()
    """Output lines beside status."""
    drive: DriveRoles | None = None
    """The lines of a drive, on a core that has them."""
    separator: SeparatorKeys = SeparatorKeys()
    """What is known of the core's own data separator."""
    tie: dict[str, Natural] = Key({})
    """A constant for each input without a role, e.g. `{test_mode: 0}`."""
    observe: Observe = Observe()
    """Signals that show the state without a read; without it status is compared in reads only."""
    latency: dict[str, Annotated[int, Key(ge=0, le=1_000_000)]] = Key({})
    """For a field, line or inner register: the constant number of cycles by which it lags the
    model, e.g. `{status: 1}`."""
    waivers: list[Waiver] = Key([])
    """Known mismatches that are not to count yet."""
    prove: Prove = Prove()
    """Assumptions and hints for `cellstep prove`."""

    _document: Document = PrivateAttr()
    _today: date = PrivateAttr(default_factory=date.today)

    @classmethod
    def of(cls, document: Document, today: date | None = None) -> Binding:
        """Return the binding of a document; raise InputError with every fault the schema finds."""
        binding = document.validate(cls)
        binding._document = document
        binding._today = today or date.today()
        return binding

    @property
    def document(self) -> Document:
        """The loaded file, for the position of each key."""
        return self._document

    @property
    def path(self) -> Path:
        """The file."""
        return self._document.path

    @property
    def folder(self) -> Path:
        """The folder the binding's paths are relative to."""
        return self.path.parent

    @property
    def registers(self) -> dict[str, StatusAddress | WordAddress]:
        """Addresses of the registers the core has on its bus, by name."""
        if self.bus is None:
            return {}
        found = {name: getattr(self.bus.registers, name) for name in REGISTERS}
        return {name: where for name, where in found.items() if where is not None}

    @property
    def registers_unbound(self) -> list[str]:
        """Names of the registers the core may have that the binding gives no address."""
        return [name for name in REGISTERS if name not in self.registers]

    @property
    def byte_wide(self) -> bool:
        """True when a register is reached as two bytes."""
        return any(where.word is None for where in self.registers.values())

    def bus_cycles(self, register: str) -> list[AccessCycle]:
        """Return the bus cycles of one access in order, of two bytes the high one first.

        The one at offset 0 counts: it clears byte_ready, or completes a write. Raises KeyError
        for a register the core has not.
        """
        where = self.registers[register]
        if where.high is None:
            return [AccessCycle(0, where.word or 0, "word")]
        if where.low is None:
            return [AccessCycle(0, where.high, "high")]
        first = 0 if isinstance(where, StatusAddress) and where.clears_on == "high" else -1
        return [AccessCycle(first, where.high, "high"), AccessCycle(first + 1, where.low, "low")]

    @property
    def bus_shape(self) -> BusShape:
        """How an access is laid out in bus cycles: the same as `bus_cycles`, by register bits."""
        bus = self.bus
        masks = {"word": WORD, "high": HIGH, "low": LOW}
        parts = {name: self.bus_cycles(name) for name in self.registers}
        order = {name: tuple(masks[bus_cycle.half] for bus_cycle in parts[name]) for name in parts}
        registers: dict[str, Any] = {name: order.get(name, (WORD,)) for name in REGISTERS}
        counting = {bus_cycle.offset: masks[bus_cycle.half] for bus_cycle in parts.get(STATUS, ())}
        return BusShape(
            clears=counting.get(0, WORD),
            read_latency=bus.answer if bus is not None else 0,
            hold=bus.hold if bus is not None else 1,
            idle=bus.idle if bus is not None else 0,
            **(bus.lasting if bus is not None else {}),
            **registers,
        )

    def lag(self, field: str) -> int:
        """Return how many cycles the core's `field` (or `unused`) may come after the model's."""
        return self.latency.get(field, self.latency.get(STATUS, 0))

    @property
    def today(self) -> date:
        """The day on which it was loaded: its waivers hold or have ended as on that day."""
        return self._today

    @property
    def waived_fields(self) -> set[str]:
        """The fields waived as the binding was loaded, whatever day it is by now."""
        return self.waived(self._today)

    def waived(self, today: date) -> set[str]:
        """Return the fields waived on that day."""
        return {waiver.field for waiver in self.waivers if today <= waiver.until}

    @property
    def level_inputs(self) -> dict[str, LevelPin]:
        """The model's level inputs the core takes on ports, by the model's name."""
        found = {name: getattr(self.inputs, name) for name in LEVEL_INPUTS}
        found |= {name: getattr(self.gates, name) for name in GATES}
        return {name: signal for name, signal in found.items() if signal is not None}

    @property
    def driven_inputs(self) -> list[Driven]:
        """Every input of the core that a role drives; tied ones are in `tie`."""
        return list(self._driven())

    def _driven(self) -> Iterator[Driven]:
        yield Driven(("clock", "port"), self.clock.port, "high")
        if self.clock.slow is not None:
            yield Driven(("clock", "slow"), self.clock.slow, "high")
        if self.clock.enable is not None:
            yield Driven(("clock", "enable"), self.clock.enable, self.clock.enable_active)
        if self.reset.port:
            yield Driven(("reset", "port"), self.reset.port, self.reset.active)
        yield from self.disk.driven()
        if self.bus is not None:
            yield from self.bus.driven()
        for name in LEVEL_INPUTS:
            signal = getattr(self.inputs, name)
            if signal is not None:
                yield Driven(("inputs", name), signal.port, signal.active)
        yield from self.gates.driven()
        if self.memory is not None:
            yield from self.memory.driven()
        if self.drive is not None:
            yield from self.drive.driven()

    @property
    def observed(self) -> list[Watched]:
        """What shows status without side effects: the word, or the fields; empty if nothing."""
        if self.observe.status is not None:
            key = ("observe", STATUS)
            return [Watched(STATUS, self.observe.status, STATUS_WIDTH, "high", key)]
        width = {field.name: field.width for field in STATUS_FIELDS}
        return [
            _watched(name, shown, width[name])
            for name, shown in self.observe.fields.items()
            if name in FIELD_NAMES
        ]

    @property
    def lines_observed(self) -> list[Watched]:
        """The output lines and the inner registers the core shows, in a fixed order."""
        return [*self.lines.watched(), *self.observe.inner()]

    @property
    def pulse_cycles(self) -> int | None:
        """For how many cycles a pulse holds the read-data line active; None without flux."""
        if self.disk.flux is None:
            return None
        return self.disk.pulse_cycles or pulse_width(self.load_profile().cycle_ns)

    @property
    def channel_bit_observed(self) -> list[Watched]:
        """What shows the channel bits of the core's own separator; empty without one."""
        shown = self.observe.channel_bit
        return list(shown.watched()) if shown is not None else []

    @property
    def all_observed(self) -> list[Watched]:
        """Everything that is recorded in every cycle, the highest bits of the record first."""
        drive = self.drive.watched() if self.drive is not None else ()
        return [*self.observed, *self.lines_observed, *self.channel_bit_observed, *drive]

    @property
    def recorded(self) -> list[Watched]:
        """The same, with `PADDING` where a signal would lie across two words of `RECORD` bits."""
        found: list[Watched] = []
        at = 0
        for watched in reversed(self.all_observed):
            left = -at % RECORD
            if left and watched.width > left:
                found.append(Watched(PADDING, f"{left}'b0", left, "high", ()))
                at += left
            found.append(watched)
            at += watched.width
        return found[::-1]

    def load_profile(self) -> Profile:
        """Return the profile with the binding's policies; raise UserError if it is no good."""
        profile = load_profile(self.profile, self.folder).with_policies(self.policies)
        leaves = list(dict.fromkeys([*profile.reset_leaves, *self.reset.leaves]))
        reset = profile.reset
        if self.inputs.held.get("wait_for_sync"):
            reset = reset.model_copy(update={"control": reset.control | WAIT_FOR_SYNC})
        return profile.model_copy(update={"reset_leaves": leaves, "reset": reset})


def _watched(name: str, shown: ObservedField, width: int) -> Watched:
    """Return what shows a field of status."""
    key = ("observe", "fields", name)
    if shown.signal is not None:
        return Watched(name, shown.signal, width, shown.active, key)
    operator = {"bits": "", "and": "&", "or": "|", "xor": "^"}[shown.by]
    parts = tuple(
        Watched(
            name,
            part.signal,
            width if operator else 0,
            part.active,
            (*key, "joined", n),
            delay=part.delay,
        )
        for n, part in enumerate(shown.joined)
    )
    return Watched(name, parts[0].expression, width, shown.active, key, parts, operator)
