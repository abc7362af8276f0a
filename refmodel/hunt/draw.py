"""Draws cases: events placed close to each other, and to what the block is about to do.

The random numbers of a case are drawn kind by kind, as arrays: a hunt draws millions of events.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

from refmodel.block.arming import ENABLE, LENGTH
from refmodel.block.arming import WRITE as TO_DISK
from refmodel.block.control import KEPT, SET
from refmodel.ground.lane import Cycles
from refmodel.ground.word import WORD, WORD_BITS
from refmodel.host.lacking import FROM_MEMORY, TO_MEMORY
from refmodel.hunt.aims import Aim, Aimed
from refmodel.hunt.case import BIT, LEVEL, READ, RESET, SLOT, WRITE, Access, CaseEvent, DrawnCase

NEAR = (-3, 4)  # edges from a channel bit at which the rest is placed
GAPS = ((1, 2), (2, 6), (5, 14), (14, 15), (14, 15))  # cycles from bit to bit
OTHER_READS = 0.15  # of the accesses that are no read of status
FRAMES = (0x4489, 0xFFFF, 0x0000, 0xAAAA, 0x5555)
FRAMED = 0.1  # of the bits behind a whole word, at which one begins
CALM_FROM = 1000  # channel bits: in a long case there is time for what takes long to come about
OFTEN = {"access": 0.5, LEVEL: 0.06, RESET: 0.004, SLOT: 0.35}  # for each channel bit
ALL_ALIKE: Mapping[str, float] = {}
QUIETER: Mapping[str, float] = {SLOT: 0.1, "access": 0.1, LEVEL: 0.1, RESET: 0.3}
CALM: Sequence[Mapping[str, float]] = (
    ALL_ALIKE,
    QUIETER,  # a word that waits for its slot
    {SLOT: 0.02, "access": 0.05, LEVEL: 0.0, RESET: 0.0},  # a FIFO that runs full, or empty
)
GATES = ("master_enable", "channel_enable")
MEMORIES = 8  # with other words in them: a simulator reads each from a file
LENGTHS = (0, 1, 1, 2, 3, 5)
Columns = NDArray[np.int64]
BOTH_WAYS = frozenset((TO_MEMORY, FROM_MEMORY))


@dataclass(frozen=True)
class Reach:
    """What of a core a case can reach: registers, level inputs, memory slots.

    `busy` is how many cycles an access takes until the next one may begin, `deep` how many edges
    it may be on its way inside the core, `lasts` for how many cycles it keeps the host. Without
    `resets` there are none behind the first. `ways` are those in which transfers go.
    """

    start: int
    registers: Sequence[str]
    levels: Sequence[str]
    slots: bool = False
    busy: int = 1
    deep: int = 0
    resets: bool = True
    lasts: Mapping[Access, int] = field(default_factory=dict)
    ways: frozenset[str] = BOTH_WAYS


class Drawer:
    """Draws one case after another from a seed.

    `weights` says how much more often than another each kind of event is drawn, `aims` what is to
    meet in some of the cases.
    """

    def __init__(
        self,
        reach: Reach,
        seed: int,
        weights: Mapping[str, float] | None = None,
        aims: Sequence[Aim] = (),
    ) -> None:
        self._reach = reach
        self._random = np.random.default_rng(seed)
        self._memory = 1 + seed % MEMORIES
        self._weights = dict(weights or {})
        self._aims = aims
        self._calm = False  # whether a transfer is mostly left alone

    def case(self, bits: int = 120) -> DrawnCase:
        """Return a case of so many channel bits."""
        rng, reach = self._random, self._reach
        calm = CALM[int(rng.integers(len(CALM)))] if bits >= CALM_FROM else ALL_ALIKE
        aimed = Aimed.drawn(self._aims, rng)
        calm = QUIETER if aimed.is_long else calm
        self._calm = calm is not ALL_ALIKE
        low, high = GAPS[rng.integers(len(GAPS))]
        at = reach.start + rng.integers(1, 9) + np.cumsum(rng.integers(low, high + 1, bits))
        at -= low
        word = FRAMES[rng.integers(len(FRAMES))]
        value = self._bits(bits, word)
        window = _windows(value)
        events = [CaseEvent(reach.start, LEVEL, n, 1) for n in reach.levels if n in GATES]
        events += map(CaseEvent, at.tolist(), [BIT] * bits, [""] * bits, value.tolist())
        for kind, often in OFTEN.items():
            share = often * self._weights.get(kind, 1.0) * calm.get(kind, 1.0)
            chosen = np.flatnonzero(rng.random(bits) < share)
            near = at[chosen] + rng.integers(*NEAR, len(chosen))
            if kind == SLOT and self._calm:  # a word may end there, with no room for it
                near = np.where(rng.random(len(chosen)) < 0.5, at[chosen], near)
            events += self._events(kind, np.maximum(reach.start, near), window[chosen], word)
        for kind, edges, windows in aimed.events(at, window, word, rng):
            events += self._events(kind, np.maximum(reach.start, edges), windows, word)
        return DrawnCase(reach.start, _in_order(events, reach), self._memory)

    def _bits(self, count: int, word: int) -> Columns:
        """Return channel bits at random, with whole words among them."""
        rng = self._random
        bits = rng.integers(0, 2, count)
        pattern = word >> np.arange(WORD_BITS - 1, -1, -1) & 1
        begin = 0
        for skipped in rng.geometric(FRAMED, count // WORD_BITS + 1).tolist():
            begin += skipped - 1
            part = bits[begin : begin + WORD_BITS]
            part[:] = pattern[: len(part)]
            begin += WORD_BITS
        return bits

    def _events(self, kind: str, at: Cycles, window: Columns, word: int) -> Iterator[CaseEvent]:
        """Yield events of one kind at some edges, none where the core takes none."""
        rng, reach, count = self._random, self._reach, len(at)
        if kind in (LEVEL, "gate", "level_input"):
            names = [n for n in reach.levels if kind == LEVEL or (n in GATES) == (kind == "gate")]
            if names:
                which, value = rng.integers(len(names), size=count), rng.integers(0, 2, count)
                for edge, n, level in zip(at.tolist(), which.tolist(), value.tolist(), strict=True):
                    yield CaseEvent(edge, LEVEL, names[n], level)
        elif kind == RESET and reach.resets:
            lasts = rng.integers(1, 6, count).tolist()
            yield from (
                CaseEvent(e, RESET, value=n) for e, n in zip(at.tolist(), lasts, strict=True)
            )
        elif kind == SLOT and reach.slots:
            yield from (CaseEvent(edge, SLOT) for edge in at.tolist())
        elif kind not in (RESET, SLOT):
            yield from self._accesses(kind, at, window, word)

    def _accesses(self, kind: str, at: Cycles, window: Columns, word: int) -> Iterator[CaseEvent]:
        """Yield reads, most often of status, and writes that make something happen.

        `kind` names one of them, or is just "access".
        """
        rng, registers, count = self._random, self._reach.registers, len(at)
        writable = [name for name in registers if name != "status"]
        looks = rng.random(count) < (0.6 if writable else 1.0)
        reads = rng.random(count) < OTHER_READS
        which = rng.integers(max(1, len(writable)), size=count)
        if kind in writable:
            looks[:], reads[:], which[:] = False, False, writable.index(kind)
        elif kind == "status":
            looks[:] = True
        if "status" not in registers:
            looks[:] = False
        words = {n: self._values(n, window, word).tolist() for n in writable}
        rows = zip(at.tolist(), looks.tolist(), reads.tolist(), which.tolist(), strict=True)
        for n, (edge, look, read, place) in enumerate(rows):
            if look:
                yield CaseEvent(edge, READ, "status")
            elif writable:
                name = writable[place]
                yield (
                    CaseEvent(edge, READ, name)
                    if read
                    else CaseEvent(edge, WRITE, name, words[name][n])
                )

    def _values(self, name: str, window: Columns, word: int) -> Columns:
        """Return words to write: most make something happen, some have any bits set."""
        rng, count = self._random, len(window)
        if name == "sync_word":
            coming = (window << 1 | rng.integers(0, 2, count)) & WORD
            kept = np.full(count, word)
            chosen: Columns = np.choose(rng.integers(0, 4, count), (window, coming, kept, kept))
            return chosen
        if name == "control":
            return rng.integers(0, 2, count) * SET | rng.integers(0, 1 << 16, count) & KEPT
        few = np.array(LENGTHS)[rng.integers(len(LENGTHS), size=count)]
        one_more = few | 1 << rng.integers(LENGTH.bit_length(), size=count)  # a counter may lack it
        any_length = rng.integers(LENGTH + 1, size=count)
        length = np.choose(rng.integers(6, size=count), (*[few] * 4, one_more, any_length))
        if self._calm:  # some go on for long
            length = np.where(rng.random(count) < 0.5, any_length, length)
        enabled, to_disk = rng.random(count) < 0.85, rng.random(count) < 0.4
        if self._reach.ways != BOTH_WAYS:
            to_disk = np.where(enabled, FROM_MEMORY in self._reach.ways, to_disk)
        asked: Columns = enabled * ENABLE | to_disk * TO_DISK | length
        return asked


def _windows(bits: Columns) -> Columns:
    """Return the last 16 channel bits at each of them, the newest in bit 0."""
    padded = np.concatenate((np.zeros(WORD_BITS - 1, np.int64), bits))
    found = np.zeros(len(bits), np.int64)
    for n in range(WORD_BITS):
        found |= padded[WORD_BITS - 1 - n : len(padded) - n] << n
    return found


def _in_order(events: list[CaseEvent], reach: Reach) -> tuple[CaseEvent, ...]:
    """Return the events in order of their edges, without those that cannot be where they are.

    Accesses leave each other room; of two changes of one level, two slots or two resets on one
    edge the first counts, and resets lie apart.
    """
    found: list[CaseEvent] = []
    free, busy = reach.start + 1, reach.busy
    taken: set[tuple[int, str, str]] = set()
    unlocked = reach.start
    events.sort(key=itemgetter(0))
    for event in events:
        at, kind, name, value = event
        if kind in (READ, WRITE):
            if at < free:
                continue
            free = at + busy
        elif kind == RESET:
            if at <= unlocked:
                continue
            unlocked = at + value + 1
        elif kind != BIT:
            if (at, kind, name) in taken:
                continue
            taken.add((at, kind, name))
        found.append(event)
    stops = [event.at + event.value for event in found if event.kind == RESET]
    if not (stops and reach.deep):
        return tuple(found)
    return tuple(event for event in found if not _cut_off(event, stops, reach.deep))


def _cut_off(event: CaseEvent, stops: Sequence[int], deep: int) -> bool:
    """Return whether it is an access on whose way inside the core a reset ends."""
    access = event.kind in (READ, WRITE)
    return access and any(event.at < stop <= event.at + deep for stop in stops)
