"""The word that drives a core: where each input has its bits, and which of them last."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from refmodel.drive.cable import BACK

HELD = (
    "reset",
    "flux",
    "dma_active",
    "writing",
    "wait_for_sync",
    "master_enable",
    "channel_enable",
    *BACK,
)
MOVING = ("bit", "address", "write_data")
BUS = ("read", "write", "counts", "elsewhere", "address", "write_data")


@dataclass(frozen=True)
class DriveWord:
    """The word that holds every driven input of one cycle: named slots of bits.

    `reset` and the level inputs are held from event to event, the others last one cycle.
    """

    slots: Mapping[str, tuple[int, int]]  # name: (lowest bit, width)

    @classmethod
    def of(cls, widths: Mapping[str, int]) -> DriveWord:
        """Place slots of these widths one after the other."""
        slots, at = {}, 0
        for name, width in widths.items():
            slots[name] = (at, width)
            at += width
        return cls(slots)

    @property
    def width(self) -> int:
        """Number of bits in the word."""
        return sum(width for _, width in self.slots.values())

    @property
    def held(self) -> int:
        """The bits that keep their value from event to event."""
        strobes = ("read", "write", "elsewhere") if "counts" in self.slots else ()
        return sum(self.mask(name) for name in (*HELD, *MOVING, *strobes))

    @property
    def moving(self) -> int:
        """The bits of what a core must not look at but at a strobe: they move without one."""
        return sum(self.mask(name) for name in MOVING)

    @property
    def flipped(self) -> int:
        """The bits that are inverted behind an event: a channel bit is there at its strobe only."""
        return self.mask("bit")

    @property
    def strobes(self) -> int:
        """The bits of the bus that say what kind of access there is."""
        return self.mask("read") | self.mask("write") | self.mask("counts")

    @property
    def bus(self) -> int:
        """The bits of the bus."""
        return sum(self.mask(name) for name in BUS)

    @property
    def lines(self) -> int:
        """The bits of address and data."""
        return self.mask("address") | self.mask("write_data")

    def lsb(self, name: str) -> int:
        """Lowest bit of a slot."""
        return self.slots[name][0]

    def mask(self, name: str) -> int:
        """Bits of a slot, none for a slot that is not there."""
        lsb, width = self.slots.get(name, (0, 0))
        return ((1 << width) - 1) << lsb

    def verilog(self, name: str) -> str:
        """Return the slot as a Verilog expression."""
        lsb, width = self.slots[name]
        return f"drive[{lsb}]" if width == 1 else f"drive[{lsb + width - 1}:{lsb}]"
