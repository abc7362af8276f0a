"""Arrays for a page: base64 of little-endian numbers, cycles as their distances."""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refmodel.engine.revolution import Revolution
from refmodel.ground.lane import Cycles, Lane

Encoded = dict[str, Any]


def encode(values: NDArray[np.integer]) -> Encoded:
    """Return numbers from 0 on: `w` bytes each, little-endian, as base64 in `b`."""
    most = int(values.max()) if len(values) else 0
    width = 1 if most < 1 << 8 else 2 if most < 1 << 16 else 4
    raw = values.astype(f"<u{width}").tobytes()
    return {"w": width, "b": base64.b64encode(raw).decode()}


def encode_cycles(cycles: Cycles, first: int) -> Encoded:
    """Return ascending cycles as distances, the first one from cycle `first`."""
    return encode(np.diff(cycles, prepend=first))


def encode_lane(lane: Lane, first: int) -> Encoded:
    """Return a lane's changes: `c` its cycles, `v` its values."""
    return {"c": encode_cycles(lane.cycle, first), "v": encode(lane.value)}


def encode_revolution(row: Revolution) -> dict[str, Any]:
    """Return a revolution for the raster: angles in 1/65536 turns, lengths in % of the nominal."""

    def angles(cycles: Cycles) -> Cycles:
        return (cycles - row.first) * 65535 // max(1, row.end - row.first)

    return {
        "first": row.first,
        "end": row.end,
        "length": encode(row.length_percent),
        "matches": encode(angles(row.matches)),
        "wrong": angles(row.wrong).tolist(),
    }
