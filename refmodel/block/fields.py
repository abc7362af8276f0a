"""The registers' fields: the one table every bit position comes from.

A profile may move a field of status (`Layout.moved`); nothing else in the project states a
position. SPEC.md's tables and the constants of the reference core are tested against these.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from refmodel.ground.clauses import CLAUSE_OF
from refmodel.ground.errors import near
from refmodel.ground.word import WORD

STATUS_WIDTH = 16


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a register: bits `msb` down to `lsb`, and the clause that says what it does."""

    name: str
    msb: int
    lsb: int
    clause: str
    meaning: str

    @property
    def width(self) -> int:
        """Number of bits."""
        return self.msb - self.lsb + 1

    @property
    def mask(self) -> int:
        """The field's bits within the register."""
        return ((1 << self.width) - 1) << self.lsb

    @property
    def place(self) -> str:
        """The field's bits as a profile and SPEC.md write them: `12`, `7..0`."""
        return str(self.msb) if self.width == 1 else f"{self.msb}..{self.lsb}"

    def check_place(self, width: int) -> None:
        """Raise ValueError unless the place is `width` bits of the register."""
        if self.msb < self.lsb:
            swapped = f"{self.lsb}..{self.msb}"
            raise ValueError(f"{self.name} {self.place}: the high bit comes first: {swapped}")
        if self.width != width:
            raise ValueError(f"{self.name} {self.place} is not {width} bit{'s' * (width > 1)} wide")
        if not 0 <= self.lsb <= self.msb < STATUS_WIDTH:
            raise ValueError(f"{self.name} {self.place} is not within bits {STATUS_WIDTH - 1}..0")

    def of(self, word: int) -> int:
        """Return the field's value in a register word."""
        return (word & self.mask) >> self.lsb


def _field(name: str, msb: int, lsb: int, meaning: str) -> Field:
    return Field(name, msb, lsb, CLAUSE_OF[name], meaning)


STATUS_FIELDS = (
    _field("byte_ready", 15, 15, "a byte has completed since status was last read"),
    _field("dma_active", 14, 14, "a transfer to or from memory is active"),
    _field("writing", 13, 13, "the transfer writes to the disk"),
    _field("sync_equal", 12, 12, "the last 16 channel bits equal sync_word"),
    _field("data", 7, 0, "the last completed byte"),
)
FIELD_NAMES = tuple(f.name for f in STATUS_FIELDS)
TRANSFER_FIELDS = (
    _field("enable", 15, 15, "1 counts towards the start of a transfer, 0 stops it"),
    _field("write", 14, 14, "1 from memory to the disk, 0 from the disk to memory"),
    _field("length", 13, 0, "the number of words to be moved"),
)
CONTROL_FIELDS = (
    _field("set", 15, 15, "1 sets the bits written as 1, 0 clears them"),
    _field("precompensation", 4, 3, "0, 1, 2, 3 shift by 0, 1, 2, 4 cycles"),
    _field("top_bit_framing", 2, 2, "a byte starts with a channel bit 1"),
    _field("slow_bits", 1, 1, "a written channel bit takes twice as long"),
    _field("wait_for_sync", 0, 0, "a read transfer starts after a match; B4 realigns"),
)
WRITTEN_FIELDS = {"transfer": TRANSFER_FIELDS, "control": CONTROL_FIELDS}
UNUSED = "unused"  # lane name of the bits no field owns (B8)


@dataclass(frozen=True, slots=True)
class Layout:
    """The fields of one status register, at their places."""

    fields: tuple[Field, ...] = STATUS_FIELDS

    @classmethod
    def moved(cls, places: Mapping[str, tuple[int, int]]) -> Layout:
        """Return the layout with the named fields at other (msb, lsb) places.

        Raises ValueError as `moved_fields` does.
        """
        return cls(moved_fields("status", STATUS_FIELDS, places))

    def __getitem__(self, name: str) -> Field:
        for field in self.fields:
            if field.name == name:
                return field
        raise KeyError(name)

    @property
    def unused_mask(self) -> int:
        """The bits that belong to no field and read 0 (B8)."""
        return WORD & ~sum(f.mask for f in self.fields)

    def mask_of(self, lane: str) -> int:
        """Return the register bits of a field name or of `unused`."""
        return self.unused_mask if lane == UNUSED else self[lane].mask

    def split(self, word: int) -> dict[str, int]:
        """Return every field's value in a register word, by name."""
        return {f.name: f.of(word) for f in self.fields}


def moved_fields(
    register: str, table: tuple[Field, ...], places: Mapping[str, tuple[int, int]]
) -> tuple[Field, ...]:
    """Return a register's fields with the named ones at other (msb, lsb) places.

    Raises ValueError for an unknown name, a changed width, a place outside the register or an
    overlap.
    """
    names = tuple(f.name for f in table)
    unknown = sorted(set(places) - set(names))
    if unknown:
        raise ValueError(f"'{unknown[0]}' is not a field of {register}{near(unknown[0], names)}")
    fields = tuple(
        Field(f.name, *places.get(f.name, (f.msb, f.lsb)), f.clause, f.meaning) for f in table
    )
    for n, (field, standard) in enumerate(zip(fields, table, strict=True)):
        field.check_place(standard.width)
        for other in fields[:n]:
            if other.mask & field.mask:
                raise ValueError(f"{field.name} {field.place} overlaps {other.name}")
    return fields


def placed(word: int, table: tuple[Field, ...], moved: tuple[Field, ...]) -> int:
    """Return a word with its fields moved from their usual places to others; other bits are 0."""
    return sum(usual.of(word) << other.lsb for usual, other in zip(table, moved, strict=True))


def field(table: tuple[Field, ...], name: str) -> Field:
    """Return the field of a table that has this name."""
    return next(f for f in table if f.name == name)
