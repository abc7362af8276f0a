"""What may stand where a file is expected: nothing, a folder, a link to nowhere, endless zeros."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

Placed = Callable[[Path], object]


def _link_to(target: str) -> Placed:
    return lambda file: file.symlink_to(target)


def _closed(file: Path) -> None:
    """Make a file that its owner may not read."""
    file.write_text("name: x\n")
    file.chmod(0)


PLACE_BREAKS: dict[str, Placed] = {
    "missing": lambda _: None,
    "folder": Path.mkdir,
    "closed": _closed,
    "link_to_nowhere": _link_to("nowhere/at/all"),
    "link_to_itself": lambda file: file.symlink_to(file.name),
    "null_device": _link_to("/dev/null"),
    "endless_zeros": _link_to("/dev/zero"),
    "memory_of_a_process": _link_to("/proc/self/mem"),
    "directory_of_devices": _link_to("/dev"),
}


def put_in_place(how: str, file: Path) -> None:
    """Put something else where a good file stands."""
    file.unlink()
    PLACE_BREAKS[how](file)


def _cut(data: bytes, rng: random.Random) -> bytes:
    return data[: rng.randrange(len(data))]


def _flipped(data: bytes, rng: random.Random) -> bytes:
    """Change some bytes."""
    changed = bytearray(data)
    for _ in range(rng.choice((1, 8, 200))):
        changed[rng.randrange(len(data))] = rng.randrange(256)
    return bytes(changed)


def _head_flipped(data: bytes, rng: random.Random) -> bytes:
    """Change a byte among the first, where a format says what it is."""
    changed = bytearray(data)
    changed[rng.randrange(min(len(data), 100))] ^= 1 << rng.randrange(8)
    return bytes(changed)


BINARY_BREAKS: dict[str, Callable[[bytes, random.Random], bytes]] = {
    "cut": _cut,
    "cut_to_a_few_bytes": lambda data, rng: data[: rng.randrange(1, 64)],
    "bytes_changed": _flipped,
    "head_changed": _head_flipped,
    "begin_lost": lambda data, rng: data[rng.randrange(1, len(data)) :],
    "whole_twice": lambda data, _: data + data,
    "binary_noise": lambda data, rng: rng.randbytes(min(len(data), 5000)),
    "text_instead": lambda *_: b"time,a\n0,1\n",
    "zeros": lambda data, _: bytes(len(data)),
    "nothing": lambda *_: b"",
}
