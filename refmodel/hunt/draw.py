"""Draws cases: events placed close to each other, and to what the block is about to do."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from refmodel.block.arming import ENABLE, LENGTH
from refmodel.block.arming import WRITE as TO_DISK
from refmodel.block.control import KEPT, SET
from refmodel.ground.word import WORD
from refmodel.hunt.case import BIT, LEVEL, READ, RESET, SLOT, WRITE, Access, CaseEvent, DrawnCase

NEAR = range(-3, 4)  # edges from a channel bit at which the rest is placed
GAPS = ((1, 2), (2, 6), (5, 14), (14, 15))  # cycles from bit to bit
OTHER_READS = 0.15  # of the accesses that are no read of status
FRAMES = (0x4489, 0xFFFF, 0x0000, 0xAAAA, 0x5555)
CALM_FROM = 1000  # channel bits: in a long case there is time for what takes long to come about
ALL_ALIKE: Mapping[str, float] = {}
CALM: Sequence[Mapping[str, float]] = (
    ALL_ALIKE,
    {SLOT: 0.1, "access": 0.1, LEVEL: 0.1, RESET: 0.3},  # a word that waits for its slot
    {SLOT: 0.02, "access": 0.05, LEVEL: 0.0, RESET: 0.0},  # a FIFO that runs full, or empty
)
GATES = ("master_enable", "channel_enable")


@dataclass(frozen=True)
class Reach:
    """What of a core a case can reach: registers, level inputs, memory slots.

    `busy` is how many cycles an access takes until the next one may begin, `deep` how many edges
    it may be on its way inside the core, `lasts` for how many cycles it keeps the host. Without
    `resets` there are none behind the first.
    """

    start: int
    registers: Sequence[str]
    levels: Sequence[str]
    slots: bool = False
    busy: int = 1
    deep: int = 0
    resets: bool = True
    lasts: Mapping[Access, int] = field(default_factory=dict)


class Drawer:
    """Draws one case after another from a seed.

    `weights` says how much more often than another each kind of event is drawn.
    """

    def __init__(self, reach: Reach, seed: int, weights: Mapping[str, float] | None = None) -> None:
        self._reach = reach
        self._random = random.Random(seed)
        self._weights = dict(weights or {})
        self._calm = ALL_ALIKE

    def case(self, bits: int = 120) -> DrawnCase:
        """Return a case of so many channel bits."""
        rng, reach = self._random, self._reach
        self._calm = rng.choice(CALM) if bits >= CALM_FROM else ALL_ALIKE
        low, high = rng.choice(GAPS)
        events: list[CaseEvent] = []
        window = 0
        at = reach.start + rng.randint(1, 8)
        word = rng.choice(FRAMES)
        coming: list[int] = []
        for name in (n for n in reach.levels if n in GATES):
            events.append(CaseEvent(reach.start, LEVEL, name, 1))
        for _ in range(bits):
            if not coming and rng.random() < 0.1:
                coming = [word >> n & 1 for n in reversed(range(16))]
            bit = coming.pop(0) if coming else rng.getrandbits(1)
            window = (window << 1 | bit) & WORD
            events.append(CaseEvent(at, BIT, value=bit))
            events += self._around(at, window, word)
            at += rng.randint(low, high)
        return DrawnCase(reach.start, _in_order(events, reach))

    def _around(self, at: int, window: int, word: int) -> list[CaseEvent]:
        """Return what else happens near the channel bit of an edge."""
        rng = self._random
        found: list[CaseEvent] = []
        for kind, often in (("access", 0.5), (LEVEL, 0.06), (RESET, 0.004), (SLOT, 0.35)):
            if rng.random() < often * self._weights.get(kind, 1.0) * self._calm.get(kind, 1.0):
                found += self._event(
                    kind, max(self._reach.start, at + rng.choice(NEAR)), window, word
                )
        return found

    def _event(self, kind: str, at: int, window: int, word: int) -> list[CaseEvent]:
        """Return an event of one kind, none where the core takes none."""
        rng, reach = self._random, self._reach
        if kind == LEVEL:
            return [
                CaseEvent(at, LEVEL, name, rng.getrandbits(1))
                for name in rng.sample(reach.levels, min(1, len(reach.levels)))
            ]
        if kind == RESET:
            cycles = rng.randint(1, 5)
            return [CaseEvent(at, RESET, value=cycles)] if reach.resets else []
        if kind == SLOT:
            return [CaseEvent(at, SLOT)] if reach.slots else []
        return self._access(at, window, word)

    def _access(self, at: int, window: int, word: int) -> list[CaseEvent]:
        """Return a read, most often of status, or a write that makes something happen."""
        rng, registers = self._random, self._reach.registers
        writable = [name for name in registers if name != "status"]
        if "status" in registers and (not writable or rng.random() < 0.6):
            return [CaseEvent(at, READ, "status")]
        if not writable:
            return []
        name = rng.choice(writable)
        if rng.random() < OTHER_READS:
            return [CaseEvent(at, READ, name)]
        return [CaseEvent(at, WRITE, name, self._value(name, window, word))]

    def _value(self, name: str, window: int, word: int) -> int:
        """Return a word to write: most make something happen, some have any bits set."""
        rng = self._random
        if name == "sync_word":
            return rng.choice((window, (window << 1 | rng.getrandbits(1)) & WORD, word, word))
        if name == "control":
            return rng.choice((SET, 0)) | rng.getrandbits(16) & KEPT
        length = rng.choice((0, 1, 1, 2, 3, 5, rng.getrandbits(14)))
        enabled = ENABLE if rng.random() < 0.85 else 0
        return enabled | (TO_DISK if rng.random() < 0.4 else 0) | length & LENGTH


def _in_order(events: list[CaseEvent], reach: Reach) -> tuple[CaseEvent, ...]:
    """Return the events in order of their edges, without those that cannot be where they are.

    Accesses leave each other room; of two changes of one level, two slots or two resets on one
    edge the first counts, and resets lie apart.
    """
    found: list[CaseEvent] = []
    free = reach.start + 1
    taken: set[tuple[int, str, str]] = set()
    unlocked = reach.start
    for event in sorted(events, key=lambda e: e.at):
        key = (event.at, event.kind, event.name)
        if event.kind in (READ, WRITE):
            if event.at < free:
                continue
            free = event.at + reach.busy
        elif key in taken or (event.kind == RESET and event.at <= unlocked):
            continue
        if event.kind == RESET:
            unlocked = event.at + event.value + 1
        taken.add(key)
        found.append(event)
    stops = [event.at + event.value for event in found if event.kind == RESET]
    return tuple(event for event in found if not _cut_off(event, stops, reach.deep))


def _cut_off(event: CaseEvent, stops: Sequence[int], deep: int) -> bool:
    """Return whether it is an access on whose way inside the core a reset ends."""
    access = event.kind in (READ, WRITE)
    return access and any(event.at < stop <= event.at + deep for stop in stops)
