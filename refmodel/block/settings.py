"""The settings of a register block: clock, channel-bit time, layout, reset values, policies."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Annotated, Literal, Self, get_args

from pydantic import Field as Key
from pydantic import WithJsonSchema, field_validator

from refmodel.block.control import KEPT
from refmodel.block.fields import (
    CONTROL_FIELDS,
    TRANSFER_FIELDS,
    WRITTEN_FIELDS,
    Layout,
    moved_fields,
    placed,
)
from refmodel.block.slots import SlotRate, Slots
from refmodel.ground.errors import UserError, near
from refmodel.ground.frequency import exact_frequency
from refmodel.ground.yamlfile import Schema

LEAST_WRITE_BIT_CYCLES = 9


class Policies(Schema):
    """Behaviour that differs between real parts. Each choice is a clause's policy in SPEC.md."""

    sync_view: Literal["live", "registered"] = "live"
    """Whether `sync_equal` shows at once or one cycle later (B3)."""
    sync_compare: Literal["always", "at_bits"] = "always"
    """Whether the window is compared in every cycle, or only with a channel bit (B3)."""
    same_edge_write: Literal["new", "old"] = "old"
    """Which word a bit is compared with if `sync_word` is written on its edge: the new or the old
    one (B3)."""
    realign: Literal["when_waiting", "always", "never"] = "when_waiting"
    """When a match restarts the count of bits (B4)."""
    matching_byte: Literal["delivered", "dropped"] = "delivered"
    """Whether a byte that completes on the matching bit is delivered (B4)."""
    ready_tie: Literal["set_wins", "clear_wins"] = "set_wins"
    """A byte and a read on one edge: whether `byte_ready` ends set or clear (B5)."""
    read_clears: Literal["at_edge", "edge_after"] = "at_edge"
    """Whether a read clears `byte_ready` at its edge or at the one after (B5)."""
    dma_active_means: Literal["running", "enabled"] = "enabled"
    """Whether the bit says that a transfer runs, or that all enables are on (B6)."""
    writing_means: Literal["requested", "gate_open", "as_written"] = "as_written"
    """What the bit shows: the transfer's direction, the open write gate, or the bit as it was
    written (B7)."""
    start_acts: Literal["same_edge", "next_edge"] = "next_edge"
    """Whether slot and bit of the starting edge already see the transfer (B9)."""
    arming_counts: Literal["afresh", "from_last_enable"] = "from_last_enable"
    """Whether the count of writes with enable set begins again at each start, or stays, so that
    each further such write starts again (B9)."""
    length_loads: Literal["accepted", "every_write"] = "every_write"
    """Whether the length changes with each write or only with the accepted one (B9)."""
    zero_length: Literal["done_at_once", "ignored"] = "done_at_once"
    """What a transfer of length zero does (B10)."""
    fifo_forwarding: Literal["both", "read", "write", "none"] = "none"
    """Where a word just stored or taken counts on the same edge (B10)."""
    write_tail_lost_bits: Annotated[
        Literal["0", "3"], WithJsonSchema({"enum": ["0", "3", 0, 3]})
    ] = "0"
    """How many bits of the last word are not written (B11)."""
    gates_stop: Literal["path", "slots"] = "path"
    """What a closed gate stops: the whole path, or memory slots alone (B15)."""

    @field_validator("write_tail_lost_bits", mode="before")
    @classmethod
    def _number_as_text(cls, value: object) -> object:
        """Take the number as a file has it; policies are given as text on the command line."""
        return str(value) if type(value) is int else value


class ResetValues(Schema):
    """What each register holds while reset is asserted (B14)."""

    window: int = Key(0, ge=0, le=0xFFFF)
    """The last 16 channel bits."""
    sync_word: int = Key(0x4489, ge=0, le=0xFFFF)
    """The sync word."""
    bit_count: int = Key(0, ge=0, le=7)
    """The count of bits."""
    data: int = Key(0, ge=0, le=0xFF)
    """The data of status."""
    byte_ready: int = Key(0, ge=0, le=1)
    """The flag of status."""
    control: int = Key(0, ge=0, le=KEPT)
    """The bits of control, as in SPEC's table of it: 1 for a block that begins waiting for sync."""


Kept = Literal["window", "sync_word", "data"]


class Settings(Schema):
    """What the register block is built to. Immutable; `with_policies` returns a changed copy."""

    clock_hz: Fraction
    """How many cycles a second has, in Hz: a whole number, or a fraction such as `78750000/11`.
    A cycle is an edge that counts: with a clock enable it is the rate of the enabled edges, so
    12500000 for 50 MHz enabled on every fourth one."""
    channel_bit_ns: int = Key(gt=0, le=1_000_000)
    """The nominal length of a channel bit in nanoseconds: 2000 at double density."""
    layout: dict[str, int | str] = Key({})
    """Fields of status at other bits, each with its bit or bits: `{byte_ready: 7, data:
    "15..8"}`."""
    transfer_layout: dict[str, int | str] = Key({})
    """Fields of transfer at other bits, in the same form."""
    control_layout: dict[str, int | str | None] = Key({})
    """Fields of control at other bits, in the same form; `none` for one that control lacks, which
    stays as reset leaves it: `{top_bit_framing: none}`."""
    reset: ResetValues = ResetValues()
    """What each register holds while reset is on (B14)."""
    reset_leaves: list[Kept] = Key([])
    """Registers that reset leaves as they are (B14)."""
    policies: Policies = Policies()
    """Behaviour that differs between real parts."""
    arming_writes: int = Key(2, ge=1, le=8)
    """How many writes in a row arm a transfer (B9)."""
    fifo_words: int = Key(3, ge=1, le=64)
    """Words the FIFO holds (B10, B11)."""
    slots: Slots = Slots()
    """The memory slots (B10)."""
    write_bit_cycles: int | None = None
    """Cycles of a written channel bit (B11), 9 or more; without it the whole cycles of a
    nominal one."""

    @field_validator("write_bit_cycles")
    @classmethod
    def _pulse_fits(cls, value: int | None) -> int | None:
        if value is not None and value < LEAST_WRITE_BIT_CYCLES:
            raise ValueError(
                f"{value} cycles leave no room for a pulse 4 cycles early or late (B11);"
                f" {LEAST_WRITE_BIT_CYCLES} or more do"
            )
        return value

    @field_validator("clock_hz", mode="before")
    @classmethod
    def _exact_clock(cls, value: object) -> Fraction:
        """Take an integer or an exact fraction such as `78750000/11`."""
        return exact_frequency(value)

    @field_validator("layout")
    @classmethod
    def _layout_fits(cls, value: dict[str, int | str]) -> dict[str, int | str]:
        Layout.moved(_places(value))
        return value

    @field_validator("transfer_layout")
    @classmethod
    def _transfer_fits(cls, value: dict[str, int | str]) -> dict[str, int | str]:
        moved_fields("transfer", TRANSFER_FIELDS, _places(value))
        return value

    @field_validator("control_layout")
    @classmethod
    def _control_fits(cls, value: dict[str, int | str | None]) -> dict[str, int | str | None]:
        if "set" in _lacking(value):
            raise ValueError("set: it says what a write does to the others; control cannot lack it")
        lacking = _lacking(value)
        there = tuple(f for f in CONTROL_FIELDS if f.name not in lacking)
        unknown = lacking - {f.name for f in CONTROL_FIELDS}
        moved_fields("control", there, _places(value) | dict.fromkeys(sorted(unknown), (0, 0)))
        return value

    def on_the_bus(self, register: str, word: int) -> int:
        """Return a word for transfer or control with its fields where this profile has them."""
        layout = self.transfer_layout if register == "transfer" else self.control_layout
        places, lacking = _places(layout), _lacking(layout)
        if not layout:
            return word
        usual = tuple(f for f in WRITTEN_FIELDS[register] if f.name not in lacking)
        return placed(word, usual, moved_fields(register, usual, places))

    @property
    def control_there(self) -> int:
        """The bits of control that a write reaches, as in SPEC's table (B13)."""
        lacking = _lacking(self.control_layout)
        return KEPT & ~sum(f.mask for f in CONTROL_FIELDS if f.name in lacking)

    @property
    def moves_control(self) -> bool:
        """Whether a field of control has another place."""
        return bool(_places(self.control_layout))

    @property
    def status(self) -> Layout:
        """The status register's fields at this profile's places."""
        return Layout.moved(_places(self.layout))

    @property
    def cycles_per_bit(self) -> Fraction:
        """Cycles in one nominal channel bit: exact, usually no whole number."""
        return self.clock_hz * self.channel_bit_ns / 1_000_000_000

    @property
    def cycles_per_written_bit(self) -> int:
        """Cycles in one written channel bit (B11), unless control.slow_bits doubles them."""
        return self.write_bit_cycles or max(1, int(self.cycles_per_bit))

    @property
    def slot_rate(self) -> SlotRate:
        """Whether the memory slots keep up with a transfer of nominal channel bits."""
        return SlotRate(self.slots, self.cycles_per_bit, self.fifo_words)

    @property
    def cycle_ns(self) -> Fraction:
        """Length of one cycle in nanoseconds."""
        return 1_000_000_000 / self.clock_hz

    def with_policies(self, changes: dict[str, str]) -> Self:
        """Return the settings with policies changed; raise UserError for an unknown one."""
        known = Policies.model_fields
        for name, value in changes.items():
            if name not in known:
                raise UserError(f"policy {name}: no such policy{near(name, known)}")
            choices = get_args(known[name].annotation)
            if value not in choices:
                listed = ", ".join(map(str, choices))
                raise UserError(f"policy {name}: '{value}' is not one of {listed}")
        policies = self.policies.model_copy(update=changes)
        return self.model_copy(update={"policies": policies})


def _lacking(layout: Mapping[str, object]) -> set[str]:
    """Return the fields that a layout says are not there: `none`, or an empty value."""
    return {name for name, place in layout.items() if place in (None, "none")}


def _places(layout: Mapping[str, int | str | None]) -> dict[str, tuple[int, int]]:
    """Turn `{data: "7..0", writing: 13}` into (msb, lsb) pairs, without fields that lack."""
    places = {}
    for name, place in layout.items():
        if name in _lacking(layout):
            continue
        ends = str(place).split("..")
        if len(ends) > 2 or not all(end.isdecimal() for end in ends):
            raise ValueError(f"{name}: '{place}' is not a place; write 12 or \"7..0\"")
        places[name] = (int(ends[0]), int(ends[-1]))
    return places
