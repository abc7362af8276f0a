"""Makes a failing case small: as few events as still fail, as close together as they can be."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import chain, takewhile
from itertools import count as counted

from refmodel.ground.word import WORD_BITS
from refmodel.hunt.case import BIT, LEVEL, WRITE, DrawnCase

Fails = Callable[[Sequence[DrawnCase]], list[bool]]  # tries some cases at once
ROUNDS = 60
APART = (1, 2, 4, 8, 16, 32, 64)  # cycles from one event to the next, tried for all at once
BYTE_BITS = 8
FEW = 4  # moves that are tried one by one when they are not possible together; events
SHORTEST = 16  # events of an end that is tried alone


def shrunk(case: DrawnCase, fails: Fails, busy: int, deep: int = 0) -> DrawnCase:
    """Return a smaller case that fails, too; `fails` says which of several cases do.

    Of a long case the end is kept, as short as it can be. Parts of the list are left out, halves
    first, then smaller ones, then the whole beginning; then what is left moves together, and values
    become 0. Accesses stay `busy` cycles apart, and no reset ends within the `deep` edges behind
    one.
    """
    case = _only_end(case, fails)
    size = max(1, len(case.events) // 2)
    for _ in range(ROUNDS):
        smaller = _without_parts(case, size, fails)
        if smaller is not None:
            case = smaller
            size = min(size, max(1, len(case.events) // 2))
        elif size == 1:
            break
        else:
            size //= 2
    case = _without_beginning(_without_bits(case, fails), fails)
    case = _without_one_and_bits(case, fails)
    return _plainer(_closer(case, fails, busy, deep), fails)


def _only_end(case: DrawnCase, fails: Fails) -> DrawnCase:
    """Return the shortest end of the case that fails, with the levels set at its start or without.

    Ends are of 16, 32, 64 ... events, so that the longest is tried with all those before it.
    """
    count = len(case.events)
    levels = sum(event.at <= case.start and event.kind == LEVEL for event in case.events)
    kept = takewhile(lambda length: length < count, (SHORTEST << n for n in counted()))
    gone = [range(first, count - length) for length in kept for first in {0, levels}]
    return _smallest([case.without(part) for part in gone], fails) or case


def _without_beginning(case: DrawnCase, fails: Fails) -> DrawnCase:
    """Return the case without as many of its first events as can be left out together.

    What only counts bits into a byte, such as a match behind two writes, goes as a whole or not
    at all.
    """
    later = [case.without(range(count)) for count in range(1, len(case.events))]
    return _smallest(later, fails) or case


def _without_parts(case: DrawnCase, size: int, fails: Fails) -> DrawnCase | None:
    """Return the case without as many parts of one size as can be left out; None if none can.

    Each is tried alone; of those that can go alone, all are tried at once, then halves.
    """
    count = len(case.events)
    parts = [range(at, min(at + size, count)) for at in range(0, count, size)]
    alone = fails([case.without(part) for part in parts])
    free = [part for part, failed in zip(parts, alone, strict=True) if failed]
    if len(free) < 2:
        return case.without(free[0]) if free else None
    half, quarter = len(free) // 2, max(1, len(free) // 4)
    chosen = (free, free[:half], free[half:], free[:quarter], free[-quarter:], free[:1])
    return _smallest([case.without(chain(*some)) for some in chosen], fails)


def _without_bits(case: DrawnCase, fails: Fails) -> DrawnCase:
    """Return the case without as many whole words and bytes of channel bits as it can be."""
    for count in (WORD_BITS, BYTE_BITS):
        for _ in range(ROUNDS):
            bits = [n for n, event in enumerate(case.events) if event.kind == BIT]
            parts = [bits[at : at + count] for at in range(len(bits) - count + 1)]
            found = _smallest([case.without(part) for part in parts], fails)
            if found is None:
                break
            case = found
    return case


def _without_one_and_bits(case: DrawnCase, fails: Fails) -> DrawnCase:
    """Return the case without events that can go only together with some of its first bits.

    What begins later without them counts from another bit on.
    """
    for _ in range(ROUNDS):
        bits = [n for n, event in enumerate(case.events) if event.kind == BIT]
        others = [n for n, event in enumerate(case.events) if event.kind != BIT]
        if len(others) <= FEW:
            break
        counts = range(1, min(WORD_BITS, len(bits)) + 1)
        tried = [case.without([n, *bits[:count]]) for n in others for count in counts]
        found = _smallest(tried, fails)
        if found is None:
            break
        case = found
    return case


def _smallest(tried: Sequence[DrawnCase], fails: Fails) -> DrawnCase | None:
    """Return the shortest of the cases that fail."""
    failing = [case for case, failed in zip(tried, fails(tried), strict=True) if failed]
    return min(failing, key=lambda c: (len(c.events), c.cycles), default=None)


def _closer(case: DrawnCase, fails: Fails, busy: int, deep: int) -> DrawnCase:
    """Return the case with its events as close together as they can be."""
    tight = [case.no_further(apart) for apart in APART]
    case = _smallest([c for c in tight if c.can_be(busy, deep)], fails) or case
    for _ in range(ROUNDS):
        alone = _moves_alone(case, fails, busy, deep)
        if not alone:
            break
        half, quarter = len(alone) // 2, max(1, len(alone) // 4)
        chosen = (alone, alone[:half], alone[half:], alone[:quarter], alone[-quarter:])
        tried = [_moved(case, moves) for moves in (*chosen, *([move] for move in alone[:FEW]))]
        found = _smallest([c for c in tried if c != case and c.can_be(busy, deep)], fails)
        if found is None:
            break
        case = found
    return case


def _moves_alone(case: DrawnCase, fails: Fails, busy: int, deep: int) -> list[tuple[int, int]]:
    """Return from which places on the events can come sooner, and how far, one place at a time."""
    steps = [
        (place, step)
        for place in range(len(case.events))
        for room in (_room(case, place),)
        for step in sorted({room, room - 1, room // 2, 1} & set(range(1, room + 1)))
    ]
    able = [step for step in steps if case.sooner(*step).can_be(busy, deep)]
    failed = fails([case.sooner(*step) for step in able])
    found = dict(step for step, fails_so in zip(able, failed, strict=True) if fails_so)
    return list(found.items())  # the furthest of each place


def _moved(case: DrawnCase, moves: Sequence[tuple[int, int]]) -> DrawnCase:
    """Return the case with the events from each of some places on so many edges sooner."""
    for place, edges in moves:
        case = case.sooner(place, edges)
    return case


def _plainer(case: DrawnCase, fails: Fails) -> DrawnCase:
    """Return the case with 0 in place of the channel bits and words that need not be another."""
    places = [n for n, e in enumerate(case.events) if e.kind in (BIT, WRITE) and e.value]
    alone = fails([case.with_values([place], 0) for place in places])
    free = [place for place, failed in zip(places, alone, strict=True) if failed]
    for part in (free, free[: len(free) // 2], free[:1]):
        plain = case.with_values(part, 0)
        if part and fails([plain])[0]:
            return plain
    return case


def _room(case: DrawnCase, place: int) -> int:
    """Return how many edges the events from a place on can come earlier and stay behind others."""
    before = case.events[place - 1].at if place else case.start
    return case.events[place].at - before
