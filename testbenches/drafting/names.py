"""What a port's name says about its role: common practice, no source."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import cache
from typing import Literal

Active = Literal["high", "low"]
_REGISTERED = {"q", "r", "reg", "ff"}  # endings of registers, and of what they take next
_NEXT = {"n", "d", "nxt", "next"}

# Spellings of one word. A name is taken apart into these.
_SPELLINGS = {
    "clk": "clk clock ck mclk clkin sysclk",
    "en": "en ena enable ce cen cke clken",
    "rst": "rst reset res arst srst por",
    "bit": "bit bits cell rx raw serial ser flux",
    "strobe": "stb strobe valid vld tick pulse",
    "data": "data dat d",
    "in": "in i",
    "out": "out o q",
    "value": "value val level",
    "address": "address addr adr a offset ofs index",
    "register": "register reg regs",
    "read": "read rd re ren r oe reads reading rden",
    "write": "write wr we wen w writes wren",
    "line": "rw rnw rwn wnr",
    "select": "select sel cs chip",
    "host": "host cpu bus io",
    "status": "status stat sts st flags",
    "dma": "dma xfer transfer",
    "active": "active act on busy run running",
    "writing": "writing",
    "disk": "disk dsk drive",
    "gate": "gate direction dir mode",
    "to": "to",
    "wait": "wait waiting hunt hunting search arm armed align realign resync ws",
    "sync": "sync syn mark",
    "word": "word",
    "ready": "ready rdy done full avail available got",
    "equal": "equal eq match hit same",
    "last": "last latest",
    "byte": "byte",
    "high": "high hi h msb upper",
    "low": "low lo l lsb lower",
    "clear": "clear clr",
    "acknowledge": "acknowledge ack dtack",
    "memory": "memory mem ram",
    "slot": "slot",
    "grant": "grant granted gnt",
    "request": "request req ask",
    "store": "store stored",
    "fetch": "fetch",
    "from": "from",
    "master": "master",
    "channel": "channel chan",
    "hold": "hold stop pause",
    "interrupt": "interrupt irq",
    "found": "found",
    "control": "control ctrl ctl",
    "length": "length len",
    "debug": "debug dbg test",
}
_WORD = {spelling: word for word, all_ in _SPELLINGS.items() for spelling in all_.split()}
_GLUE = sorted((s for s in _WORD if len(s) > 2), key=len, reverse=True)
# glued on to others, as in `rden`, `din`, `rdata`; other short spellings only stand alone
_SHORT = ("rd", "wr", "rx", "in", "en", "on", "cs", "we", "re", "d", "q", "a", "r", "w")

# Role: what each word of the name adds. A role's port must be in ROLES with its width.
_WEIGHTS: dict[str, dict[str, int]] = {
    "clock": {"clk": 10, "en": -8},
    "enable": {"en": 5, "clk": 4, "strobe": 2, "read": -6, "write": -6, "dma": -6, "bit": -3,
               "wait": -6, "sync": -4},
    "reset": {"rst": 10},
    "strobe": {"strobe": 6, "bit": 4, "en": 2, "ready": 2, "disk": 1, "host": -6, "clk": -2},
    "value": {"bit": 5, "data": 3, "in": 2, "value": 3, "disk": 1, "strobe": -4, "en": -4,
              "read": 1, "host": -4},
    "address": {"address": 9, "register": 4, "select": 2},
    "read": {"read": 8, "strobe": 1, "en": 1, "host": 1, "bit": -5, "write": -4, "data": -2},
    "write": {"write": 8, "strobe": 1, "en": 1, "host": 1, "read": -4, "active": -2, "disk": -3,
              "gate": -3},
    "line": {"line": 9},
    "select": {"select": 8, "host": 1, "strobe": 1, "en": 1},
    "write_data": {"data": 5, "in": 3, "write": 3, "host": 1},
    "read_data": {"data": 5, "out": 3, "read": 3, "host": 1, "status": -3},
    "status": {"status": 8, "debug": 1, "word": 1, "register": 1, "out": 1, "in": -5},
    "dma_active": {"dma": 7, "active": 3, "en": 2, "write": -3, "wait": -4},
    "writing": {"writing": 9, "write": 3, "active": 3, "gate": 3, "disk": 2, "to": 3, "dma": 1,
                "data": -3, "host": -3},
    "wait_for_sync": {"wait": 6, "sync": 4, "en": 1, "word": 1, "strobe": -2},
}  # fmt: skip


@cache
def words(name: str) -> tuple[str, ...]:
    """Take a name apart into plain words: `nRegRd` is ('register', 'read')."""
    found = [_WORD.get(part, part) for part in _parts(name)]
    if "read" in found and "write" in found:  # r_w, rd_wr_n: one line for the direction
        found = [word for word in found if word not in ("read", "write")] + ["line"]
    return tuple(found)


def _parts(name: str) -> Iterator[str]:
    """Yield the lower-case parts of a name without its mark of an active-low signal."""
    parts: list[str] = []
    for segment in filter(None, re.split(r"[_\W\d]+", name)):
        known = segment.lower() in _WORD
        spaced = segment if known else re.sub(r"([a-z])([A-Z])", r"\1 \2", segment)
        parts += spaced.lower().split()
    if len(parts) > 1 and (parts[0] == "n" or parts[-1] in ("n", "b", "x")):
        parts = [p for p in parts if p not in ("n", "b", "x")]
    for part in parts:
        yield from _taken_apart(part) or [part]


def _taken_apart(part: str) -> list[str] | None:
    """Split a glued part such as `bitstb` into known spellings; None if that is not possible."""
    if not part or part in _WORD:
        return [part] if part else []
    if part[-1] == "n" and part[:-1] in _WORD and len(part) > 2:
        return [part[:-1]]  # resetn
    if part[0] == "n" and part[1:] in _WORD and len(part) > 2:
        return [part[1:]]  # nreset
    for known in (*_GLUE, *_SHORT):
        if part.startswith(known):
            rest = _taken_apart(part[len(known) :])
            if rest:
                return [known, *rest]
    return None


def is_low(name: str) -> bool:
    """Say whether a name marks its signal as active low: rst_n, n_rd, csn, sel_b."""
    lower = name.lower()
    if re.search(r"(^n_|_n$|_n_|_b$|_l$|bar$)", lower):
        return True
    if re.match(r"n[A-Z]", name):
        return True
    glued = lower.rsplit("_", 1)[-1]
    ends = glued[-1:] == "n" and glued[:-1] in _WORD and glued not in _WORD
    first = lower.split("_", 1)[0]
    starts = first[:1] == "n" and first[1:] in _WORD and first not in _WORD
    return (ends or starts) and len(glued) > 2


def next_suffixes(names: Iterable[str]) -> set[str]:
    """Return the endings by which a core marks the next values of registers: n where q is one."""
    ends: dict[str, set[str]] = {}
    for name in names:
        stem, _, end = name.lower().rpartition("_")
        if stem:
            ends.setdefault(stem, set()).add(end)
    return {end for found in ends.values() if found & _REGISTERED for end in found & _NEXT}


def line_active(name: str) -> Active:
    """Return the level of a read/write line that means write: rnw and rw write low, wnr high."""
    of_line = ("read", "write", "line")
    named = "".join(part for part in _parts(name) if _WORD.get(part) in of_line)
    return "high" if named.startswith("w") else "low"


def score(role: str, name: str) -> int:
    """Return how well a name fits a role; 0 or less says nothing for it."""
    weights = _WEIGHTS[role]
    found = set(words(name))
    if role != "line" and "line" in found:
        return 0
    strange = sum(word not in weights for word in found) if role == "enable" else 0
    return sum(weights.get(word, 0) for word in found) - 2 * strange  # en_what? not the clock's
