"""What a track is, as data: revolutions, fields and gaps, cell length, weak and silent places."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import cached_property
from typing import Any

import numpy as np

from refmodel.capture.track_source import TrackSource
from refmodel.media.mfm import find
from refmodel.media.overlay import NOWHERE, WeakRegion
from refmodel.media.seeded import Floats
from refmodel.media.survey import ID, FieldSeen, Part, survey
from refmodel.world.revolutions import Revolution

PARTS = 200  # of a revolution, over each of which the cell length is averaged
NOTICED = 1.5  # percent by which cells must differ from the usual ones to be reported
SILENT_BITS = 5.5  # the longest spacing of MFM is 4 channel bits


@dataclass(frozen=True)
class CellRegion:
    """A stretch of channel bits whose cells are `percent` longer than nominal, shorter below 0."""

    first_bit: int
    end_bit: int
    percent: float


@dataclass(frozen=True)
class Silence:
    """A stretch without a pulse, from `at_ns` behind the index of revolution `revolution` on."""

    revolution: int
    at_ns: float
    length_ns: float
    bit: int


class TrackSummary:
    """A track looked at: everything `cellstep track` shows."""

    def __init__(self, source: TrackSource, sync_word: int = 0x4489) -> None:
        self.name = source.name
        self.turns = source.turns
        self.bit_ns = source.bit_ns
        self.sync_word = sync_word
        self.bits = source.turns.overlay.bits

    @cached_property
    def parts(self) -> list[Part]:
        """The fields and gaps."""
        return survey(self.bits)

    @cached_property
    def syncs(self) -> list[int]:
        """The channel bit with which each sync word ends, in what most revolutions read."""
        return [int(bit) for bit in find(self.bits, self.sync_word)]

    @cached_property
    def weak(self) -> list[WeakRegion]:
        """The regions that do not read alike in all revolutions."""
        return self.turns.overlay.regions()

    @cached_property
    def cells(self) -> list[Floats]:
        """Of each revolution: by how many percent cells are long, in each of its parts."""
        return [self._cells(turn) for turn in range(len(self.turns.revolutions))]

    def time_of(self, bit: int) -> float:
        """Return when a channel bit passes the head in the first revolution, in ns from index."""
        middle = self.turns.revolutions[0].middle_ns
        return float(middle[min(bit, len(middle) - 1)])

    def percent(self, revolution: Revolution) -> float:
        """Return by how many percent a revolution is longer than nominal for its channel bits."""
        return 100 * (revolution.length_ns / (len(revolution.bits) * self.bit_ns) - 1)

    def _cells(self, turn: int) -> Floats:
        """Return the mean cell length over each part of a revolution; NaN where no pulse is."""
        revolution, at = self.turns.revolutions[turn], self.turns.pulse_bits(turn)
        known = at != NOWHERE
        bit, ns = at[known], revolution.pulse_ns[known]
        edges = np.searchsorted(bit, np.linspace(0, len(self.bits), PARTS + 1))
        cells = np.full(PARTS, np.nan)
        for n, (begin, end) in enumerate(zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)):
            last = min(end, len(bit) - 1)
            if last - begin >= 2:
                length = (ns[last] - ns[begin]) / (bit[last] - bit[begin])
                cells[n] = 100 * (length / self.bit_ns - 1)
        return cells

    @cached_property
    def regions(self) -> list[CellRegion]:
        """The stretches whose cells are longer or shorter than the usual ones of this track."""
        cells = np.array(self.cells)
        known = np.isfinite(cells)
        sums = np.where(known, cells, 0).sum(axis=0)
        mean = sums / np.maximum(known.sum(axis=0), 1)
        usual = float(np.median(mean))
        found: list[CellRegion] = []
        size = len(self.bits) / PARTS
        for n in np.flatnonzero((np.abs(mean - usual) > NOTICED) & known.any(axis=0)).tolist():
            first, end = round(n * size), round((n + 1) * size)
            last = found[-1] if found else None
            if last and last.end_bit == first and abs(last.percent - mean[n]) < NOTICED:
                count = (last.end_bit - last.first_bit) / size
                percent = (last.percent * count + mean[n]) / (count + 1)
                found[-1] = CellRegion(last.first_bit, end, float(percent))
            else:
                found.append(CellRegion(first, end, float(mean[n])))
        return found

    @cached_property
    def silences(self) -> list[Silence]:
        """The spacings longer than any of MFM, revolution by revolution.

        One across the index is in two parts, at the end of a revolution and at the start of the
        next; bit 0 is that of the index.
        """
        found = []
        for turn, revolution in enumerate(self.turns.revolutions):
            ns = np.concatenate(([0.0], revolution.pulse_ns, [revolution.length_ns]))
            at = np.concatenate(([0], self.turns.pulse_bits(turn)))
            for n in np.flatnonzero(np.diff(ns) > SILENT_BITS * self.bit_ns).tolist():
                length = float(ns[n + 1] - ns[n])
                found.append(Silence(revolution.number, float(ns[n]), length, int(at[n])))
        return found

    def as_json(self) -> dict[str, Any]:
        """Return all of it as plain data; bits count from the index, times in ns from it."""
        overlay = self.turns.overlay
        return {
            "track": self.name,
            "channel_bit_ns": self.bit_ns,
            "channel_bits": len(self.bits),
            "notes": list(self.turns.notes),
            "revolutions": [
                {
                    "number": r.number,
                    "length_ns": round(r.length_ns, 3),
                    "pulses": len(r.pulse_ns),
                    "channel_bits": len(r.bits),
                    "cells_percent": round(self.percent(r), 4),
                }
                for r in self.turns.revolutions
            ],
            "parts": [self._part(part) for part in self.parts],
            "sync_word": f"0x{self.sync_word:04X}",
            "syncs": [{"bit": bit, "ns": round(self.time_of(bit), 1)} for bit in self.syncs],
            "cell_regions": [asdict(region) for region in self.regions],
            "cells_percent": [
                [None if np.isnan(v) else round(float(v), 3) for v in row] for row in self.cells
            ],
            "weak_regions": [asdict(region) for region in self.weak],
            "weak_bits": [
                {"bit": int(k), "ones": int(overlay.ones[k]), "of": int(overlay.seen[k])}
                for k in np.flatnonzero(overlay.weak)
            ],
            "silent": [asdict(silence) for silence in self.silences],
        }

    def _part(self, part: Part) -> dict[str, Any]:
        data: dict[str, Any] = {
            "name": part.name,
            "first_bit": part.first_bit,
            "end_bit": part.end_bit,
            "ns": round(self.time_of(part.first_bit), 1),
        }
        if not isinstance(part, FieldSeen):
            return data | {"content": part.content}
        data |= {"kind": part.kind, "marks": part.marks, "mark": part.mark}
        if part.crc_stored is not None:
            data |= {
                "bytes": len(part.body),
                "crc_stored": f"{part.crc_stored:04X}",
                "crc_right": f"{part.crc_right:04X}",
                "crc_ok": part.crc_ok,
            }
            if part.kind == ID:
                data["id"] = part.body.hex()
        return data
