"""A group-coded track: six data bits in a group of eight channel bits that begins with a 1.

A group holds no more than two zeros in a row, also with its neighbours. 81 groups can; the 64
lowest carry data and some of the rest are marks, so that no data looks like one. The code is this
project's own: any code with a set top bit serves a controller that frames bytes by it (B13).

A run of 1111_1111_00 brings such a controller into step: a zero where a byte would begin is passed
over, so that after five of them at the latest a byte begins where a group does.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from refmodel.ground.errors import UserError
from refmodel.media.crc import crc_bytes
from refmodel.media.mfm import Bits
from refmodel.media.seeded import random_bytes
from refmodel.media.track import Place, Track

GROUP_BITS, DATA_BITS = 8, 6
GROUPS = tuple(word for word in range(0x80, 0x100) if "000" not in f"{word:08b}")
CODE = GROUPS[: 1 << DATA_BITS]
VALUES = {group: value for value, group in enumerate(CODE)}
HEADER_MARK = (0xFB, GROUPS[64], 0xFE)  # three groups of those without data
DATA_MARK = (0xFB, GROUPS[65], 0xFE)
STEP = np.array([1] * 8 + [0, 0], np.uint8)
STEPS = 6  # of a run that brings the framing into step


def to_groups(data: bytes) -> list[int]:
    """Return bytes as groups, top bit first, with zeros behind the last one where six bits miss."""
    bits = np.unpackbits(np.frombuffer(data, np.uint8))
    sixes = np.pad(bits, (0, -len(bits) % DATA_BITS)).reshape(-1, DATA_BITS)
    return [CODE[int(value)] for value in sixes @ (1 << np.arange(DATA_BITS)[::-1])]


def from_groups(groups: Sequence[int], length: int) -> bytes | None:
    """Return the first `length` bytes of groups; None when one of them carries no data."""
    if any(group not in VALUES for group in groups):
        return None
    text = "".join(f"{VALUES[group]:06b}" for group in groups)
    return bytes(int(text[8 * n : 8 * n + 8], 2) for n in range(length))


class _Part(NamedTuple):
    name: str
    bits: Bits
    unit_bits: int
    unit: str


def group_track(
    sectors: int = 10,
    size: int = 256,
    cylinder: int = 0,
    head: int = 0,
    seed: int = 0,
    bits: int = 50_000,
    steps: int = STEPS,
) -> Track:
    """Return a track of `bits` channel bits with sectors numbered from 0, their data from a seed.

    A header is cylinder, head, number and check code, a data field the data and its check code;
    each stands behind a mark of three groups. Raises UserError when they do not fit.
    """
    contents = random_bytes(sectors * size, seed, cylinder, head)
    parts: list[_Part] = []
    for n in range(sectors):
        header = bytes((cylinder, head, n))
        data = contents[n * size : (n + 1) * size]
        parts += [
            _run(f"run before sector {n}", steps),
            _groups(f"sector {n} header mark", HEADER_MARK),
            _groups(f"sector {n} header", to_groups(header + crc_bytes(header))),
            _run(f"run in sector {n}", steps),
            _groups(f"sector {n} data mark", DATA_MARK),
            _groups(f"sector {n} data", to_groups(data + crc_bytes(data))),
        ]
    needed = sum(len(part.bits) for part in parts)
    if needed > bits:
        raise UserError(
            f"{sectors} sectors of {size} need {needed} channel bits, {needed - bits} more than the"
            f" track's {bits}"
        )
    parts.append(_Part("track gap", np.resize(STEP, bits - needed), 10, "step"))
    places, at = [], 0
    for part in parts:
        if len(part.bits):
            places.append(Place(part.name, at, part.unit_bits, part.unit))
        at += len(part.bits)
    return Track(np.concatenate([part.bits for part in parts]), tuple(places))


def _run(name: str, steps: int) -> _Part:
    return _Part(name, np.tile(STEP, steps), len(STEP), "step")


def _groups(name: str, groups: Sequence[int]) -> _Part:
    return _Part(name, np.unpackbits(np.array(groups, np.uint8)), GROUP_BITS, "group")
