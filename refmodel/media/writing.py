"""The write path into the media: what a write leaves on the track, and how it is read back.

A write lies on the disk where it was written: its channel bits keep the cycles they were written
in, counted from the index, and the old bits in between are gone. At both ends a bit may be cut
short or drawn out: the splice.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.pulses import NO_BIT
from refmodel.media.crc import crc_bytes
from refmodel.media.flux_shift import peak_shifts
from refmodel.media.mfm import Bits, bits_to_words
from refmodel.media.seeded import Floats
from refmodel.media.track import A1, GAP, SYNC, Piece, join

Timed = tuple[Floats, Cycles]  # when pulses come, and the channel bits they are
Number = TypeVar("Number", bound=np.generic)
MFM_APART = 4  # channel bits between two transitions of MFM at most
FAR = 1000  # in lengths of a burst: no neighbour on the far side of the ring


@dataclass(frozen=True, eq=False)
class Burst:
    """One write: the gate opens at edge `first` and closes at edge `end`, pulses in between."""

    first: int
    end: int
    pulses: Cycles

    def bits(self, bit_cycles: int, pw50_cycles: float = 0.0) -> Bits:
        """Return the channel bits written, `bit_cycles` each; a bit cut short at the end is lost.

        A transition that is read outside its bit, as `peaks` says, counts for the next.
        """
        count = (self.end - self.first) // bit_cycles
        index = ((self.peaks(pw50_cycles) - self.first) // bit_cycles).astype(np.int64)
        bits = np.zeros(count, np.uint8)
        bits[index[(index >= 0) & (index < count)]] = 1
        return bits

    def bit_cycles(self, nominal: int) -> int:
        """Return how long the bits are, which a core may write longer or shorter than nominal.

        They are about twice as long (control.slow_bits, B13) if no two pulses are an odd number of
        nominal bits apart, as three in MFM always come up. The length is that of the near pulses on
        the average; without any it is nominal.
        """
        apart = np.diff(self.pulses)
        near = apart[apart < MFM_APART * 2 * nominal]
        bits = np.rint(near / nominal)
        if not (bits % 2).any():
            bits = bits / 2
        short = (bits > 0) & (bits <= MFM_APART)
        if not short.any():
            return nominal
        return round(float(near[short].sum() / bits[short].sum()))

    def peaks(self, pw50_cycles: float) -> NDArray[np.float64]:
        """Return when each transition is read, in cycles; that of a pulse is its cycle's middle.

        With a read pulse `pw50_cycles` wide at half height, above 0, neighbouring transitions
        push each other apart.
        """
        written = self.pulses + np.float64(0.5)
        ring = float(FAR * (self.end - self.first))
        return written + peak_shifts(written, ring, pw50_cycles)


@dataclass
class WriteHead:
    """Collects what a run writes, span after span; a write-protected disk refuses it."""

    write_protected: bool = False
    refused: list[Burst] = field(default_factory=list)
    _first: int | None = None
    _pulses: list[Cycles] = field(default_factory=list)

    def take(self, gate: Lane, data: Lane, end: int) -> list[Burst]:
        """Return the bursts that end in a span, given its write_gate and write_data lanes.

        `end` is the first cycle after the span. A gate still open then is taken up in the next.
        """
        bursts = []
        pulses = data.cycle[data.value == 1]
        width = np.diff(np.append(data.cycle, end))[data.value == 1]
        pulses = np.repeat(pulses, width) + _count_up(width)
        for cycle, is_open in zip(gate.cycle.tolist(), gate.value.tolist(), strict=True):
            if is_open and self._first is None:
                self._first = cycle
            elif not is_open and self._first is not None:
                inside = pulses[(pulses >= self._first) & (pulses < cycle)]
                found = np.concatenate([*self._pulses, inside])
                bursts.append(Burst(self._first, cycle, found))
                self._first, self._pulses = None, []
        if self._first is not None:
            self._pulses.append(pulses[pulses >= self._first])
        if self.write_protected:
            self.refused += bursts
            return []
        return bursts

    @property
    def problem(self) -> str:
        """What a write-protected disk refused; empty when nothing was."""
        if not self.refused:
            return ""
        count = len(self.refused)
        opened = f"{count} times, first" if count > 1 else "once,"
        return (
            f"the disk is write-protected: the write gate opened {opened} in cycle"
            f" {self.refused[0].first}, and nothing was written"
        )


def _count_up(width: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return 0 .. w - 1 for each width w, one after the other."""
    starts = np.cumsum(width) - width
    return np.arange(int(width.sum())) - np.repeat(starts, width)


class Passing(NamedTuple):
    """The channel bits of a revolution: when each arrives, its value, and where it comes from.

    `origin` is the bit's index on the unwritten track, -1 for a written one.
    """

    cycle: Cycles
    bit: Bits
    origin: NDArray[np.int64]


class _Patch(NamedTuple):
    """Part of a burst within one revolution, in cycles from that revolution's index."""

    first: int
    end: int
    arrives: Cycles
    bit: Bits
    bit_cycles: int


class Surface:
    """What has been written over a track, in the order in which it was written."""

    def __init__(self) -> None:
        self._patches: list[_Patch] = []

    def write(self, burst: Burst, bits: Bits, bit_cycles: int, begins: list[int]) -> None:
        """Lay the bits of a burst down where they were written.

        `begins` has the cycle of the index of each revolution up to the burst's end and of the
        next: the index passes between that edge and the one before.
        """
        arrives = burst.first + bit_cycles * np.arange(1, len(bits) + 1)
        for begin, until in pairwise(begins):
            first, end = max(burst.first, begin), min(burst.end, until)
            if first >= end:
                continue
            here = (arrives > first) & (arrives <= end)
            patch = _Patch(
                first - begin, end - begin, arrives[here] - begin, bits[here], bit_cycles
            )
            self._patches.append(patch)

    def under_the_head(self, cycles: Cycles, bits: Bits, begin: int) -> Passing:
        """Return what a later revolution reads, given the unwritten track's bits in it.

        `begin` is the cycle of the revolution's index. An old bit stays if it ends before the gate
        opened, or a cycle or more after it closed.
        """
        passing = Passing(cycles, bits, np.arange(len(bits)))
        for patch in self._patches:
            first, end = patch.first + begin, patch.end + begin
            before = int(np.searchsorted(passing.cycle, first, side="right"))
            after = int(np.searchsorted(passing.cycle, end, side="right"))
            passing = Passing(
                _replaced(passing.cycle, before, after, patch.arrives + begin),
                _replaced(passing.bit, before, after, patch.bit),
                _replaced(passing.origin, before, after, np.full(len(patch.bit), -1)),
            )
        return passing

    def flux_under_the_head(self, moments: Floats, bits: Cycles, begin: int) -> Timed:
        """Return the pulses a later revolution reads, given the unwritten track's, in cycles.

        `bits` are the channel bits the old pulses were written as. A new pulse stands in the middle
        of its bit, and is none of them.
        """
        for patch in self._patches:
            keep = (moments < patch.first + begin) | (moments >= patch.end + begin)
            new = patch.arrives[patch.bit == 1] + begin - patch.bit_cycles / 2
            moments, bits = in_order(
                np.concatenate((moments[keep], new)),
                np.concatenate((bits[keep], np.full(len(new), NO_BIT, np.int64))),
            )
        return moments, bits


def in_order(moments: Floats, bits: Cycles) -> Timed:
    """Return pulses in the order of their times."""
    order = np.argsort(moments, kind="stable")
    return moments[order], bits[order]


def _replaced(
    values: NDArray[Number], first: int, end: int, new: NDArray[Number]
) -> NDArray[Number]:
    """Return the values with those from `first` to before `end` replaced."""
    return np.concatenate((values[:first], new, values[end:]))


def data_field_words(contents: bytes, mark: int = 0xFB) -> NDArray[np.uint16]:
    """Return the channel bits of a sector's data field as words, sync and one gap byte included.

    They are 12 bytes of sync, three A1 with a missing clock, the address byte, the contents, the
    CRC and a byte of gap in which the gate closes (OEM manual of an 8-inch drive, 1979-82, p. 36).
    """
    head = A1 + bytes([mark])
    body = contents + crc_bytes(head + contents) + GAP
    track = join([Piece("sync", SYNC), Piece("mark", head, marks=3), Piece("data", body)])
    return bits_to_words(track.bits)
