"""The forms of `cellstep track --json`: what is on a track, and what a capture has written."""

from __future__ import annotations

from typing import NotRequired

from typing_extensions import TypedDict


class RevolutionForm(TypedDict):
    """One revolution."""

    number: int
    """Its number in the capture."""
    length_ns: float
    """Its length."""
    pulses: int
    """Flux pulses in it."""
    channel_bits: int
    """Channel bits read from them."""
    cells_percent: float
    """How much longer than nominal its cells are on average."""


class TrackPartForm(TypedDict):
    """A field, or the gap between two."""

    name: str
    """Its name."""
    first_bit: int
    """Its first channel bit, counted from the index."""
    end_bit: int
    """The channel bit after its last one."""
    ns: float
    """The time of its first bit, from the index."""
    content: NotRequired[str]
    """Of a gap: its content, in words."""
    kind: NotRequired[str]
    """Of a field: its kind."""
    marks: NotRequired[int]
    """Of a field: how many marks it begins with."""
    mark: NotRequired[int]
    """Of a field: the byte after the marks."""
    bytes: NotRequired[int]
    """Of a field whose end is known: its bytes between mark and check code."""
    id: NotRequired[str]
    """Of an ID: these bytes in hexadecimal."""
    crc_stored: NotRequired[str]
    """Of a field whose end is known: the check code on the track, in hexadecimal."""
    crc_right: NotRequired[str]
    """Of such a field: the check code its bytes give."""
    crc_ok: NotRequired[bool]
    """Of such a field: whether both are equal."""


class SyncForm(TypedDict):
    """A place where the sync word stands."""

    bit: int
    """The channel bit after which the window equals it."""
    ns: float
    """The time of that bit, from the index."""


class CellRegionForm(TypedDict):
    """A region whose cells are longer or shorter than usual on this track."""

    first_bit: int
    """Its first channel bit."""
    end_bit: int
    """The channel bit after its last one."""
    percent: float
    """How much longer than nominal its cells are."""


class WeakRegionForm(TypedDict):
    """A region that does not read alike in all revolutions."""

    first: int
    """Its first channel bit."""
    last: int
    """Its last channel bit."""
    weak: int
    """Channel bits in it that read 1 in some revolutions only."""
    slips: int
    """Revolutions with more or fewer bits in it than the first."""


class WeakBitForm(TypedDict):
    """A channel bit that does not read alike in all revolutions."""

    bit: int
    """The bit, counted from the index."""
    ones: int
    """Revolutions in which it read 1."""
    of: int
    """Revolutions in which it was read."""


class SilenceForm(TypedDict):
    """A spacing without a pulse, longer than the code allows."""

    revolution: int
    """The revolution."""
    at_ns: float
    """Its begin, from the index of that revolution."""
    length_ns: float
    """Its length."""
    bit: int
    """The channel bit at its begin."""


class TrackForm(TypedDict):
    """What is on a track."""

    track: str
    """The track's name."""
    channel_bit_ns: float
    """The nominal channel-bit time."""
    channel_bits: int
    """Channel bits of a revolution."""
    notes: list[str]
    """What else is to be said, in words."""
    revolutions: list[RevolutionForm]
    """Every revolution."""
    parts: list[TrackPartForm]
    """Fields and gaps, in order from the index."""
    sync_word: str
    """The sync word looked for, in hexadecimal."""
    syncs: list[SyncForm]
    """Where it stands."""
    cell_regions: list[CellRegionForm]
    """Regions of longer or shorter cells."""
    cells_percent: list[list[float | None]]
    """By revolution and part of it: how much longer than nominal cells are; null without pulses."""
    weak_regions: list[WeakRegionForm]
    """Regions that do not read alike."""
    weak_bits: list[WeakBitForm]
    """Bits that do not read alike."""
    silent: list[SilenceForm]
    """Places without flux."""


class ShiftForm(TypedDict):
    """Pulses of one pattern that are early or late."""

    pattern: str
    """The channel bits around the pulse, its own in the middle."""
    cycles: int
    """By how many cycles it is late, below 0 early."""
    count: int
    """How many such pulses there are."""


class WrittenPartForm(TypedDict):
    """A field of a write, or the gap between two."""

    name: str
    """Its name."""
    first_bit: int
    """Its first channel bit, counted from the start of the write."""
    end_bit: int
    """The channel bit after its last one."""
    bytes: NotRequired[int]
    """Of a field: its bytes between mark and check code."""
    crc_ok: NotRequired[bool | None]
    """Of a field: whether its check code is right; null if its end is not known."""
    content: NotRequired[str]
    """Of a gap: its content, in words."""


class WriteForm(TypedDict):
    """One write: the write gate opens, pulses pass, the gate closes."""

    first_cycle: int
    """The cycle in which the gate opens."""
    cycles: int
    """How long it is open, in cycles."""
    us: float
    """The same in microseconds."""
    bit_cycles: int
    """The length of a channel bit in cycles."""
    channel_bits: int
    """Channel bits written."""
    pulses: int
    """Pulses written."""
    gate_to_first_pulse_cycles: int
    """From the opening of the gate to the first pulse."""
    last_pulse_to_gate_cycles: int
    """From the last pulse to the shutting of the gate."""
    splice_cycles: int
    """Cycles left over after the last whole channel bit."""
    shifts: list[ShiftForm]
    """Pulses off their usual place, by pattern."""
    parts: list[WrittenPartForm]
    """Fields and gaps."""


class DifferenceForm(TypedDict):
    """How a write differs from the one of the second capture."""

    number: int
    """The number of the write."""
    bits: tuple[int, int]
    """Channel bits of both."""
    first_bit: int | None
    """The first channel bit that differs; null if none does."""
    wrong_bits: int
    """Channel bits that differ."""
    shifted: int
    """Pulses whose shifts differ."""
    most_cycles: int
    """By how many cycles at most."""


class WritesForm(TypedDict):
    """What a capture has written, of a map that names a write gate."""

    writes: list[WriteForm]
    """Every write."""
    against: list[DifferenceForm]
    """How each differs from that of `--against`; empty without it."""
