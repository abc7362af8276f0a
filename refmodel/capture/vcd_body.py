"""The value changes of a dump, many at once with numpy (IEEE 1364-2005, clause 18).

A block of the file is cut into words wherever there is white space, for lines mean nothing. A word
says by its first letter what it is; but the word behind a vector, a real or a value that stands
alone is an identifier code, whatever it looks like.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from refmodel.capture.waves import WIDEST, SignalChanges, Times
from refmodel.ground.cells import word_places
from refmodel.ground.errors import UserError

Places = NDArray[np.int64]
HASH = np.uint64(0x100000001B3)  # FNV's prime: identifier codes become numbers with it
OTHER, TIME, SCALAR, LEAD, KEY = range(5)

_KIND = np.full(256, OTHER, np.uint8)
_KIND[list(b"01xXzZuUwWlLhH-")] = SCALAR
_KIND[list(b"bBrRsS")] = LEAD
_KIND[ord("#")] = TIME
_KIND[ord("$")] = KEY

_ODD = np.zeros(256, bool)  # values of VHDL's nine, as some simulators write them
_ODD[list(b"uUwWlLhH-")] = True

NO_DIGIT = 4  # of the table below: no digit of a value
_DIGIT = np.full(256, NO_DIGIT, np.uint8)
_DIGIT[list(b"0lL")] = 0
_DIGIT[list(b"1hH")] = 1
_DIGIT[list(b"xXzZuUwW-")] = 2


def code_of(identifier: bytes) -> int:
    """Return the number an identifier code becomes."""
    number = 0
    for byte in identifier:
        number = (number * int(HASH) ^ byte) & (1 << 64) - 1
    return number


@dataclass
class Words:
    """A block cut into words: where each begins and ends, and what it is.

    `code` marks words that are identifier codes of the word before them.
    """

    text: NDArray[np.uint8]
    begin: Places
    end: Places
    kind: NDArray[np.uint8]
    code: NDArray[np.bool_]

    def word(self, at: int) -> bytes:
        """Return a word."""
        return self.text[self.begin[at] : self.end[at]].tobytes()

    def part(self, which: slice) -> Words:
        """Return some of the words."""
        return Words(
            self.text, self.begin[which], self.end[which], self.kind[which], self.code[which]
        )


def cut(text: NDArray[np.uint8]) -> Words:
    """Cut a block into words; comments and other sections with text of their own are left out."""
    begin, end = word_places(text)
    words = Words(text, begin, end, *_kinds(text, begin, end))
    if (words.kind == KEY).any():
        words = _without_sections(words)
    return words


def _kinds(
    text: NDArray[np.uint8], begin: Places, end: Places
) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Return what each word is, and which are identifier codes of the word before them."""
    kind = _KIND[text[begin]]
    lead = kind == LEAD
    lead |= (kind == SCALAR) & (end - begin == 1)
    code = np.zeros(len(begin), bool)
    at = np.flatnonzero(lead)
    if len(at):
        runs = np.flatnonzero(np.diff(at, prepend=-2) > 1)
        place = np.arange(len(at)) - np.repeat(runs, np.diff(np.append(runs, len(at))))
        leads = at[place % 2 == 0]
        code[leads[leads + 1 < len(begin)] + 1] = True
        kind[at] = LEAD
        kind[code] = OTHER
    return kind, code


PLAIN_KEYS = (b"$dumpvars", b"$dumpall", b"$dumpon", b"$dumpoff", b"$end")


def _without_sections(words: Words) -> Words:
    """Leave out sections whose text is not a value: $comment and what is not known."""
    keep = np.ones(len(words.begin), bool)
    until = -1
    for at in np.flatnonzero(words.kind == KEY).tolist():
        if at <= until or words.word(at) in PLAIN_KEYS:
            continue
        until = at + 1
        while until < len(keep) and words.word(until) != b"$end":
            until += 1
        keep[at : until + 1] = False
    if keep.all():
        return words
    begin, end = words.begin[keep], words.end[keep]
    return Words(words.text, begin, end, *_kinds(words.text, begin, end))


def times_of(words: Words, at: Places, unit_ns: float) -> Times:
    """Return the times that words `#...` say, in ns; ValueError for one that is not a number."""
    begin, length = words.begin[at] + 1, words.end[at] - words.begin[at] - 1
    value = np.zeros(len(at))
    digits = int(length.max(initial=0))
    if digits > 18 or not length.all():
        return _odd_times(words, at, unit_ns)
    whole = np.zeros(len(at), np.int64)
    last = len(words.text) - 1
    for k in range(digits):
        here = length > k
        digit = words.text[np.minimum(begin + k, last)].astype(np.int64) - 48
        if ((digit < 0) | (digit > 9))[here].any():
            return _odd_times(words, at, unit_ns)
        whole = np.where(here, whole * 10 + digit, whole)
    value = whole.astype(np.float64)
    return np.asarray(value * unit_ns)


def _odd_times(words: Words, at: Places, unit_ns: float) -> Times:
    """Return times one by one; some tools write them with a point."""
    return np.array([float(words.word(n)[1:]) for n in at.tolist()]) * unit_ns


def codes_of(words: Words) -> tuple[Places, NDArray[np.uint64], Places]:
    """Return the changes: the word of each one's value, its code, and the word of its code."""
    scalar = np.flatnonzero(words.kind == SCALAR)
    coded = np.flatnonzero(words.code)
    value = np.concatenate((scalar, coded - 1))
    begin = np.concatenate((words.begin[scalar] + 1, words.begin[coded]))
    length = np.concatenate((words.end[scalar], words.end[coded])) - begin
    number = np.zeros(len(begin), np.uint64)
    last = max(len(words.text) - 1, 0)
    for k in range(int(length.max(initial=0))):
        byte = words.text[np.minimum(begin + k, last)].astype(np.uint64)
        number = np.where(length > k, number * HASH ^ byte, number)
    return value, number, np.concatenate((scalar, coded))


def values_of(words: Words, at: Places, width: int) -> tuple[NDArray[np.uint64], ...]:
    """Return value and unknown bits of some value words; ValueError for one that is not a value.

    A short vector is extended to the left with 0, or with X or Z where that stands first.
    """
    lead = _is_lead(words, at)
    begin, end = words.begin[at] + lead, words.end[at]
    scalar = words.kind[at] == SCALAR
    end = np.where(scalar, begin + 1, end)
    value = np.zeros(len(at), np.uint64)
    unknown = np.zeros(len(at), np.uint64)
    length = end - begin
    for k in range(min(int(length.max(initial=0)), WIDEST)):
        here = length > k
        digit = _DIGIT[words.text[np.maximum(end - 1 - k, 0)]]
        if (digit[here] == NO_DIGIT).any():
            return _odd_values(words, at, width)
        bit = np.uint64(1) << np.uint64(k)
        value |= np.where(here & (digit == 1), bit, np.uint64(0))
        unknown |= np.where(here & (digit == 2), bit, np.uint64(0))
    x_bits = (_DIGIT[words.text[begin]] == 2) & (length < width)
    unknown |= np.where(x_bits, _ones(width) & ~_ones_each(length), np.uint64(0))
    return value & _ones(width), unknown & _ones(width)


def _is_lead(words: Words, at: Places) -> Places:
    """Return 1 where a value word begins with the letter of a vector, a real or a text."""
    return np.asarray(_KIND[words.text[words.begin[at]]] == LEAD, np.int64)


def _ones(width: int) -> np.uint64:
    return np.uint64((1 << min(width, WIDEST)) - 1)


def _ones_each(width: Places) -> NDArray[np.uint64]:
    few = np.minimum(width, WIDEST - 1).astype(np.uint64)
    ones = (np.uint64(1) << few) - np.uint64(1)
    return np.where(width >= WIDEST, np.uint64(0xFFFFFFFFFFFFFFFF), ones)


def _odd_values(words: Words, at: Places, width: int) -> tuple[NDArray[np.uint64], ...]:
    """Return values one by one: reals become 1 unless they are 0, a doubled letter is dropped."""
    pairs = [_odd_value(words.word(n), width) for n in at.tolist()]
    value, unknown = np.array(pairs, np.uint64).reshape(-1, 2).T
    return value, unknown


def _odd_value(word: bytes, width: int) -> tuple[int, int]:
    """Return value and unknown bits of one value word."""
    letter, text = chr(word[0]).lower(), word[1:].decode(errors="replace")
    ones = (1 << min(width, WIDEST)) - 1
    if letter in "rs":
        try:
            real = float(text)
        except ValueError:
            return 0, ones
        return (0, ones) if real != real else (int(real != 0), 0)
    digits = text.rpartition("b")[2].lower()
    if not digits or set(digits) - set("01xzuwlh-"):
        raise ValueError(word[:40].decode(errors="replace"))
    plain = digits.replace("l", "0").replace("h", "1")
    x_bits = "".join("0" if c in "01" else "1" for c in plain)
    x_bits = x_bits.rjust(width, x_bits[0] if x_bits[0] == "1" else "0")
    value = "".join(c if c == "1" else "0" for c in plain)
    return int(value, 2) & ones, int(x_bits, 2) & ones


@dataclass
class Block:
    """The changes in one block, by signal code; and when the dump was switched off and on."""

    changes: dict[int, SignalChanges] = field(default_factory=dict)
    switched: list[tuple[float, bool]] = field(default_factory=list)


def changes_of(
    words: Words,
    wanted: dict[int, int],
    unit_ns: float,
    now_ns: float,
    declared: NDArray[np.uint64],
) -> tuple[Block, float]:
    """Return the changes of some codes, `wanted` with their widths, and the last time.

    `declared` are all codes of the header.

    Words before the first time stand at `now_ns`. Raises UserError, its text beginning with the
    place of the word in the block and `:`, for a word that is none, or a time that falls.
    """
    stamps = np.flatnonzero(words.kind == TIME)
    try:
        times = np.concatenate(([now_ns], times_of(words, stamps, unit_ns)))
    except ValueError:
        raise _fault(words, _first_odd_time(words, stamps), "is not a time") from None
    fallen = np.flatnonzero(np.diff(times) < 0)
    if len(fallen):
        at = int(stamps[fallen[0]])
        raise _fault(words, at, "comes after a later time; times of a dump do not fall")
    _refuse_strays(words)
    value, code, _ = codes_of(words)
    _refuse_undeclared(words, value, code, declared)
    block = Block()
    mine = np.flatnonzero(np.isin(code, np.array(list(wanted), np.uint64)))
    order = np.argsort(value[mine], kind="stable")
    value, code = value[mine][order], code[mine][order]
    ns = times[np.searchsorted(stamps, value)]
    for number, width in wanted.items():
        here = code == np.uint64(number)
        if here.any():
            at = value[here]
            try:
                bits = values_of(words, at, width)
            except ValueError as error:
                raise UserError(f"{int(words.begin[at[0]])}:'{error}' is not a value") from None
            block.changes[number] = SignalChanges(ns[here], *bits)
    for at in np.flatnonzero(words.kind == KEY).tolist():
        if words.word(at) in (b"$dumpoff", b"$dumpon"):
            when = float(times[np.searchsorted(stamps, at)])
            block.switched.append((when, words.word(at) == b"$dumpon"))
    return block, float(times[-1])


def _first_odd_time(words: Words, stamps: Places) -> int:
    for at in stamps.tolist():
        try:
            float(words.word(at)[1:])
        except ValueError:
            return int(at)
    return int(stamps[0])


def _refuse_strays(words: Words) -> None:
    """Raise UserError for a word that is neither time, value, code nor command."""
    stray = np.flatnonzero((words.kind == OTHER) & ~words.code)
    if len(stray):
        raise _fault(words, int(stray[0]), "is neither a time nor a value change")


def _refuse_undeclared(
    words: Words, value: Places, code: NDArray[np.uint64], declared: NDArray[np.uint64]
) -> None:
    """Raise UserError for a word that begins like a value of another standard and is none."""
    odd = np.flatnonzero(_ODD[words.text[words.begin[value]]])
    strange = odd[~np.isin(code[odd], declared)]
    if len(strange):
        raise _fault(words, int(value[strange[0]]), "is neither a time nor a value change")


def _fault(words: Words, at: int, why: str) -> UserError:
    shown = words.word(at)[:40].decode(errors="replace")
    return UserError(f"{int(words.begin[at])}:'{shown}' {why}")


def last_time(words: Words) -> int:
    """Return the word that is the last time of a block, -1 if there is none."""
    stamps = np.flatnonzero(words.kind == TIME)
    return int(stamps[-1]) if len(stamps) else -1
