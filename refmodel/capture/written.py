"""What a captured write puts on the disk: its pattern, how pulses are shifted, its splices."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refmodel.capture.opened import Evidence
from refmodel.capture.recorded_run import RunSpan
from refmodel.ground.errors import UserError
from refmodel.ground.lane import Cycles
from refmodel.media.mfm import Bits
from refmodel.media.survey import FieldSeen, survey
from refmodel.media.writing import Burst, WriteHead
from refmodel.profile import Profile

AROUND = 3  # channel bits on either side that a shift is reported by


@dataclass(frozen=True)
class Shift:
    """Pulses of one pattern, its own bit in the middle: by how many cycles late, and how many."""

    pattern: str
    cycles: int
    count: int


@dataclass(frozen=True, eq=False)
class CapturedWrite:
    """A write: what it puts on the disk from edge `first` on, `bit_cycles` a channel bit.

    `shift` is by how many cycles each pulse is late, below 0 early, against most of them.
    """

    burst: Burst
    bit_cycles: int
    bits: Bits
    shift: Cycles

    @classmethod
    def of(cls, burst: Burst, nominal: int) -> CapturedWrite:
        """Return what a burst writes; `nominal` is the length of a channel bit in cycles."""
        length = burst.bit_cycles(nominal)
        bits = burst.bits(length)
        into = (burst.pulses - burst.first) % length
        usual = int(np.bincount(into).argmax()) if len(into) else 0
        shift = (into - usual + length // 2) % length - length // 2
        return cls(burst, length, bits, shift)

    @property
    def own_bits(self) -> Cycles:
        """The channel bit of each pulse."""
        return (self.burst.pulses - self.shift - self.burst.first) // self.bit_cycles

    def shifts(self) -> list[Shift]:
        """Return the shifts by pattern, those without any left out."""
        padded = np.concatenate((np.zeros(AROUND, np.uint8), self.bits, np.zeros(AROUND, np.uint8)))
        seen: Counter[tuple[str, int]] = Counter()
        for bit, late in zip(self.own_bits.tolist(), self.shift.tolist(), strict=True):
            pattern = "".join(map(str, padded[bit : bit + 2 * AROUND + 1].tolist()))
            seen[pattern, late] += 1
        return [
            Shift(pattern, late, count)
            for (pattern, late), count in sorted(seen.items(), key=lambda item: -item[1])
            if late
        ]

    @property
    def lead_in(self) -> int:
        """Cycles from the opening of the gate to the first pulse, all of them without one."""
        burst = self.burst
        return int(burst.pulses[0] if len(burst.pulses) else burst.end) - burst.first

    @property
    def lead_out(self) -> int:
        """Cycles from the last pulse to the shutting of the gate."""
        burst = self.burst
        return burst.end - int(burst.pulses[-1] if len(burst.pulses) else burst.first)

    def as_json(self, profile: Profile) -> dict[str, Any]:
        """Return it as plain data."""
        cycle_us = float(profile.cycle_ns) / 1000
        return {
            "first_cycle": self.burst.first,
            "cycles": self.burst.end - self.burst.first,
            "us": round((self.burst.end - self.burst.first) * cycle_us, 3),
            "bit_cycles": self.bit_cycles,
            "channel_bits": len(self.bits),
            "pulses": len(self.burst.pulses),
            "gate_to_first_pulse_cycles": self.lead_in,
            "last_pulse_to_gate_cycles": self.lead_out,
            "splice_cycles": (self.burst.end - self.burst.first) % self.bit_cycles,
            "shifts": [asdict(shift) for shift in self.shifts()],
            "parts": [part_data(part) for part in survey(self.bits)] if len(self.bits) else [],
        }


def part_data(part: Any) -> dict[str, Any]:  # noqa: ANN401 - a field or a gap
    """Return a field or gap of a write as plain data."""
    data = {"name": part.name, "first_bit": part.first_bit, "end_bit": part.end_bit}
    if isinstance(part, FieldSeen):
        return data | {"bytes": len(part.body), "crc_ok": part.crc_ok}
    return data | {"content": part.content}


def written_in(opened: Evidence) -> list[CapturedWrite]:
    """Return every write of a capture.

    Raises UserError when its map has no write gate and write data, or nothing was written.
    """
    lines = opened.map.lines
    if lines.write_gate is None or lines.write_data is None:
        raise opened.map.fault(("lines",), "needs write_gate and write_data: what was written")
    nominal = opened.profile.cycles_per_written_bit
    found = [CapturedWrite.of(burst, nominal) for burst in _bursts(opened.spans())]
    if not found:
        raise UserError(f"{opened.name}: the write gate never opens and closes")
    return found


def _bursts(spans: Iterable[RunSpan]) -> Iterator[Burst]:
    """Yield the writes that are whole."""
    head = WriteHead()
    for span in spans:
        if span.fresh:
            head = WriteHead()
        lanes = span.observed.lanes
        yield from head.take(lanes["write_gate"], lanes["write_data"], span.stimulus.end)


@dataclass(frozen=True)
class Difference:
    """How one write differs from another; `first_bit` is the first channel bit that is not alike.

    `shifted` counts pulses whose shifts differ, `most_cycles` by how much at most.
    """

    number: int
    bits: tuple[int, int]
    first_bit: int | None
    wrong_bits: int
    shifted: int
    most_cycles: int

    @property
    def alike(self) -> bool:
        """Whether both put the same on the disk."""
        return self.bits[0] == self.bits[1] and not self.wrong_bits and not self.shifted


def differences(one: list[CapturedWrite], other: list[CapturedWrite]) -> list[Difference]:
    """Return how the writes of two captures differ, in order; one missing counts as empty."""
    count = max(len(one), len(other))
    return [
        _difference(n + 1, one[n] if n < len(one) else None, other[n] if n < len(other) else None)
        for n in range(count)
    ]


def _difference(number: int, one: CapturedWrite | None, other: CapturedWrite | None) -> Difference:
    """Return how two writes differ."""
    sizes = tuple(0 if w is None else len(w.bits) for w in (one, other))
    if one is None or other is None:
        return Difference(number, (sizes[0], sizes[1]), 0, max(sizes), 0, 0)
    both = min(sizes)
    wrong = np.flatnonzero(one.bits[:both] != other.bits[:both])
    shifts = _shift_of(one, both) - _shift_of(other, both)
    alike = (one.bits[:both] == 1) & (other.bits[:both] == 1)
    apart = np.abs(shifts[alike])
    return Difference(
        number,
        (sizes[0], sizes[1]),
        int(wrong[0]) if len(wrong) else None if sizes[0] == sizes[1] else both,
        len(wrong) + abs(sizes[0] - sizes[1]),
        int(np.count_nonzero(apart)),
        int(apart.max(initial=0)),
    )


def _shift_of(written: CapturedWrite, bits: int) -> NDArray[np.int64]:
    """Return the shift of each channel bit's pulse, 0 where there is none."""
    shift = np.zeros(max(bits, len(written.bits)) + 1, np.int64)
    own = written.own_bits
    inside = (own >= 0) & (own < len(shift))
    shift[own[inside]] = written.shift[inside]
    return shift[:bits]
