"""The header of a value change dump (IEEE 1364-2005, clause 18): time scale, scopes and signals."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import IO

from refmodel.capture.waves import Signal
from refmodel.ground.errors import UserError

UNITS = {"s": 9, "ms": 6, "us": 3, "ns": 0, "ps": -3, "fs": -6}
_SCALE = re.compile(r"(1|10|100)\s*(s|ms|us|ns|ps|fs)")
_RANGE = re.compile(r"\[(-?\d+)(?::(-?\d+))?\]")
BLOCK = 1 << 16
LONGEST = 1 << 30  # bytes of a header; longer is no header
LONGEST_WORD = 1 << 22  # bytes without a space among them, or of a comment's rest
PLAIN = {"wire", "reg", "logic", "bit", "integer", "parameter", "tri", "tri0", "tri1", "int"}


@dataclass
class Header:
    """What a header says: `ids` maps each identifier code to the signals that share it.

    `unit_ns` is what a time of 1 stands for. `rest` are the bytes of the body already read, and
    `offset` where they begin in the file.
    """

    unit_ns: Fraction = Fraction(1)
    signals: dict[str, Signal] = field(default_factory=dict)
    ids: dict[bytes, list[str]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    rest: bytes = b""
    offset: int = 0


class _Tokens:
    """The words of a file, read block by block, with the place of the next one."""

    def __init__(self, file: IO[bytes], name: str) -> None:
        self._file = file
        self.name = name
        self._text = b""
        self._at = 0
        self._gone = 0
        self.line = 1

    def next(self) -> bytes:
        """Return the next word, empty at the end of the file."""
        while True:
            found = _WORD.match(self._text, self._at)
            if found and found.end() < len(self._text):
                self.line += self._text.count(b"\n", self._at, found.start(1))
                self._at = found.end()
                return found[1]
            block = self._file.read(BLOCK)
            if not block:
                word = found[1] if found else b""
                self._at = len(self._text)
                return word
            self._gone += self._at
            self._text, self._at = self._text[self._at :] + block, 0
            if self._gone > LONGEST or len(self._text) > LONGEST_WORD:
                raise UserError(
                    f"{self.name}: no $enddefinitions in its first {self._gone + len(self._text)}"
                    " bytes; is it a value change dump (VCD)?"
                )

    def back(self, word: bytes) -> None:
        """Take back the word just read."""
        self._at -= len(word)

    def section(self) -> list[bytes]:
        """Return the words up to $end."""
        words = []
        while (word := self.next()) != b"$end":
            if not word:
                raise UserError(
                    f"{self.name}:{self.line}: the file ends inside its header, without $end"
                )
            words.append(word)
        return words

    def rest(self) -> tuple[bytes, int]:
        """Return what was read behind the last word, and where it begins in the file."""
        return self._text[self._at :], self._gone + self._at


_WORD = re.compile(rb"\s*(\S+)")


def read_header(file: IO[bytes], name: str) -> Header:
    """Read a header, up to $enddefinitions or, where that is missing, the first time.

    Raises UserError, naming the line, for a file that is no value change dump.
    """
    tokens, header = _Tokens(file, name), Header()
    scopes: list[str] = []
    scaled = False
    for word in _words(tokens):
        if word == b"$enddefinitions":
            tokens.section()
            break
        if word in (b"$scope", b"$upscope", b"$var", b"$timescale"):
            line, words = tokens.line, [w.decode(errors="replace") for w in tokens.section()]
            where = f"{name}:{line}"
            if word == b"$scope":
                scopes.append(words[-1] if len(words) > 1 else "")
            elif word == b"$upscope":
                scopes = scopes[:-1]
            elif word == b"$var":
                _declare(header, scopes, words, where)
            else:
                header.unit_ns, scaled = _unit(" ".join(words), where), True
        elif word in (b"$dumpvars", b"$dumpall", b"$dumpon", b"$dumpoff") or word[:1] == b"#":
            header.notes.append("no $enddefinitions: the first value or time ends the header")
            tokens.back(word)
            break
        elif word[:1] == b"$":
            tokens.section()
        else:
            raise UserError(f"{name}:{tokens.line}: '{_shown(word)}' is not a word of a VCD header")
    if not header.signals:
        raise UserError(f"{name}: declares no signal; is it a value change dump (VCD)?")
    if not scaled:
        header.notes.append("no $timescale: a time of 1 is taken as 1 ns")
    header.rest, header.offset = tokens.rest()
    return header


def _words(tokens: _Tokens) -> Iterator[bytes]:
    while word := tokens.next():
        yield word


def _shown(word: bytes) -> str:
    return word[:40].decode(errors="replace")


def _unit(text: str, where: str) -> Fraction:
    """Return a time scale in ns."""
    found = _SCALE.fullmatch(text.strip())
    if not found:
        raise UserError(f"{where}: $timescale '{text}' is none, e.g. 1 ns or 100ps")
    return int(found[1]) * Fraction(10) ** UNITS[found[2]]


def _declare(header: Header, scopes: list[str], words: list[str], where: str) -> None:
    """Take a $var: type, size, identifier code, reference, and perhaps a range."""
    if len(words) < 4 or not words[1].lstrip("-").isdecimal():
        raise UserError(f"{where}: $var needs a type, a size, a code and a name")
    kind, size, code = words[0], int(words[1]), words[2].encode()
    reference = "".join(words[3:])
    escaped = reference.startswith("\\")
    found = None if escaped else _RANGE.search(reference)
    if found:
        stem = reference[: found.start()]
        reference = f"{stem}[{found[1]}]" if found[2] is None else stem
    name = ".".join([*filter(None, scopes), reference.lstrip("\\")])
    held = kind if kind in ("real", "event", "string") else "wire"
    held = "real" if kind == "realtime" else held
    header.signals.setdefault(name, Signal(name, max(size, 1), held))
    names = header.ids.setdefault(code, [])
    if name not in names:
        names.append(name)
