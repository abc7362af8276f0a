"""Ways to break any text file: bytes and lines lost, moved, doubled or out of place."""

from __future__ import annotations

import random
from collections.abc import Callable

Break = Callable[[str, random.Random], bytes]
Lines = list[str]


def insert(*odd: bytes) -> Break:
    """Return a break that puts one of some bytes at a random place."""

    def broken(text: str, rng: random.Random) -> bytes:
        data = text.encode()
        n = rng.randrange(len(data))
        return data[:n] + rng.choice(odd) + data[n:]

    return broken


def lines(change: Callable[[Lines, int, random.Random], Lines]) -> Break:
    """Return a break that changes the lines at a random one that is not empty."""

    def broken(text: str, rng: random.Random) -> bytes:
        all_lines = text.splitlines(keepends=True)
        filled = [n for n, line in enumerate(all_lines) if line.strip()]
        return "".join(change(all_lines, rng.choice(filled), rng)).encode()

    return broken


def _swapped(all_lines: Lines, n: int, rng: random.Random) -> Lines:
    other = rng.randrange(len(all_lines))
    all_lines[n], all_lines[other] = all_lines[other], all_lines[n]
    return all_lines


def _truncated(text: str, rng: random.Random) -> bytes:
    data = text.encode()
    return data[: rng.randrange(len(data))]


def _one_byte_less(text: str, rng: random.Random) -> bytes:
    data = text.encode()
    n = rng.randrange(len(data))
    return data[:n] + data[n + 1 :]


def _nothing(text: str, rng: random.Random) -> bytes:
    del text, rng
    return b""


TEXT_BREAKS: dict[str, Break] = {
    "truncate": _truncated,
    "truncate_lines": lines(lambda found, n, _: found[:n]),
    "begin_late": lines(lambda found, n, _: found[n:]),
    "delete_line": lines(lambda found, n, _: found[:n] + found[n + 1 :]),
    "repeat_line": lines(lambda found, n, _: found[: n + 1] + found[n:]),
    "swap_lines": lines(_swapped),
    "delete_byte": _one_byte_less,
    "odd_byte": insert(b"\xff", b"\xc3", b"\xed\xa0\x80"),
    "null_byte": insert(b"\0"),
    "escape_byte": insert(b"\x1b", b"\x07", b"\x7f"),
    "open_quote": insert(b'"'),
    "open_bracket": insert(b"{", b"[", b"("),
    "close_bracket": insert(b"}", b"]", b")"),
    "line_break": insert(b"\n", b"\r"),
    "utf_16": lambda text, _: text.encode("utf-16"),
    "latin_1": lambda text, _: (text + "# \xfc\n").encode("latin-1", "replace"),
    "byte_order_mark": lambda text, _: b"\xef\xbb\xbf" + text.encode(),
    "dos_lines": lambda text, _: text.replace("\n", "\r\n").encode(),
    "empty": _nothing,
    "noise": lambda text, rng: rng.randbytes(len(text)),
}
