"""Host programs that aim: accesses around the edge of a byte or a match, where most can meet."""

from __future__ import annotations

import random
from collections.abc import Generator, Sequence
from typing import Any

from refmodel.block.arming import ENABLE, WRITE
from refmodel.block.control import PRECOMPENSATION, SET, SLOW_BITS, TOP_BIT_FRAMING, WAIT_FOR_SYNC
from refmodel.ground.word import WORD, WORD_BITS
from refmodel.host.program import Access, Program, ProgramMaker, Read
from refmodel.host.program import Write as Put

MARK = 0x4489
Steps = Generator[Access, Any, None]
Aimed = list[tuple[str, int | None]]  # register and value, None for a read; the last one is aimed


def aim_at_bytes(seed: int = 0, byte: int = 114, reach: int = 3, words: int = 12) -> Program:
    """Make accesses within `reach` cycles of the edge that completes a byte, of `byte` cycles.

    Status is polled in every cycle until a byte is there; the next one's edge is then known.
    """
    rng = random.Random(seed)
    while True:
        while not (yield Read("status", 1)).byte_ready:
            pass
        yield from _shoot(rng, _choice(rng, words), byte - 1, reach)


def aim_at_matches(
    seed: int = 0, period: int = 454, reach: int = 3, words: int = 12, mark: int = MARK
) -> Program:
    """Make accesses within `reach` cycles of the edge of a match, which comes each `period` cycles.

    Before some of them sync_word is taken away, so that the aimed write brings it back.
    """
    rng = random.Random(seed)
    yield Put("control", SET | WAIT_FOR_SYNC, 1)
    while True:
        for _ in range(4 * period):
            if (yield Read("status", 1)).sync_equal:
                break
        kind = rng.random()
        if kind < 0.2:
            aimed: Aimed = [("sync_word", rng.choice((0x8912, 0x0000, mark ^ 1)))]
        elif kind < 0.4:
            aimed = [("sync_word", mark ^ 0x8000), ("sync_word", mark)]
        elif kind < 0.5:
            aimed = [("control", WAIT_FOR_SYNC)]
        elif kind < 0.6:
            aimed = [("control", WAIT_FOR_SYNC), ("control", SET | WAIT_FOR_SYNC)]
        else:
            aimed = _choice(rng, words)
        yield from _shoot(rng, aimed, period - 1, reach)
        yield Put("sync_word", mark, 2)
        if rng.random() < 0.8:
            yield Put("control", SET | WAIT_FOR_SYNC, 2)


def walk_sync_word(words: Sequence[int], period: int = 242) -> Program:
    """Write each rotation of each word to sync_word, and what differs from it in one bit.

    Where the track repeats a word, each rotation matches once in 16 channel bits, and the others
    never. A write comes each `period` cycles, 48 for each word, and a read of status in between.
    """
    for word in words:
        for n in range(WORD_BITS):
            turned = (word << n | word >> (WORD_BITS - n)) & WORD
            for flipped in (0, 1 << n, 1 << (n + 7) % WORD_BITS):
                yield Put("sync_word", turned ^ flipped, period - period // 3)
                yield Read("status", period // 3)


def aim_at_words(seed: int = 0, word: int = 16, reach: int = 3, words: int = 3) -> Program:
    """Start a read, and make accesses within `reach` cycles of edges that end a word.

    A word takes `word` cycles, the first from the start on; no match is waited for.
    """
    rng = random.Random(seed)
    while True:
        yield Put("control", WAIT_FOR_SYNC, rng.randint(1, word))
        for value in (0, *[ENABLE | rng.randint(1, words)] * 2):
            yield Put("transfer", value, rng.randint(1, 3))
        for ends in range(1, rng.randint(2, words + 1)):
            again = ENABLE | rng.randint(0, words)
            kinds: Aimed = [("transfer", rng.choice((0, again))), *_choice(rng, words)[:1]]
            at = word * (1 if ends > 1 else rng.randint(1, words)) + rng.randint(-reach, reach)
            yield _access(*rng.choice(kinds), at)


def long_transfers(
    lengths: Sequence[int] = (2100,), write: int = 0, word: int = 17, cost: int = 5000
) -> Program:
    """Move so many words in one transfer after another, each given `word` cycles for each word.

    Status is read every `cost` cycles, and 200 cycles behind the end of a transfer.
    """
    for words in lengths:
        start = ENABLE | (WRITE if write else 0) | words
        for value in (0, start, start):
            yield Put("transfer", value, 50)
        left = words * word
        while left > cost:
            yield Read("status", cost)
            left -= cost
        yield Read("status", left + 200)


def crowded_transfers(
    seed: int = 0,
    longest: int = 6,
    words: int = 3,
    starts: float = 0.04,
    writes: float = 0.4,
    stirs: float = 0.4,
) -> Program:
    """Access a register every few cycles, `longest` at most; start or stop a transfer now and then.

    In between status is read, and a share `stirs` of the accesses writes sync_word or control. Of
    the transfers a share `writes` goes to the disk, of the accesses `starts` starts or stops one.
    """
    rng = random.Random(seed)
    while True:
        gap, kind = rng.randint(1, longest), rng.random()
        if kind < starts:
            for access in _start(rng, words, writes):
                yield _access(*access, rng.randint(1, longest))
        elif kind < 1 - stirs:
            yield Read("status", gap)
        elif kind < 1 - stirs * 0.4:
            yield Put("sync_word", rng.choice((MARK, MARK, MARK, 0x8912, 0x5224, 0xFFFF)), gap)
        else:
            yield Put("control", _change(rng), gap)


def short_transfers(seed: int = 0, every: int = 61, words: int = 2, writes: float = 0.4) -> Program:
    """Start a transfer of few words every so many cycles, reading status and writing in between.

    A share `writes` of them goes to the disk.
    """
    rng = random.Random(seed)
    while True:
        left = every
        for access in _start(rng, words, writes):
            gap = rng.randint(1, 3)
            yield _access(*access, gap)
            left -= gap
        while left > 0:
            gap = min(rng.randint(1, 9), left)
            left -= gap
            kind = rng.random()
            if kind < 0.6:
                yield Read("status", gap)
            else:
                yield Put("sync_word" if kind < 0.8 else "control", MARK if kind < 0.8 else 0, gap)


def _start(rng: random.Random, words: int, writes: float) -> Aimed:
    """Return the writes that start a transfer, or stop it, or do not quite start it."""
    start = ENABLE | (WRITE if rng.random() < writes else 0) | rng.randint(0, words)
    kind = rng.random()
    if kind < 0.7:
        return [("transfer", start), ("transfer", start)]
    if kind < 0.8:
        return [("transfer", rng.randint(0, words))]
    return [("transfer", 0), *[("transfer", start)] * rng.choice((1, 2, 3))]


def _choice(rng: random.Random, words: int) -> Aimed:
    """Return what to do next: mostly a start, a stop, or another write of transfer."""
    kind = rng.random()
    start = ENABLE | (WRITE if rng.random() < 0.5 else 0) | rng.randint(0, words)
    if kind < 0.3:
        return [("status", None)]
    if kind < 0.55:
        return [("transfer", start)] * rng.choice((1, 2, 2, 3))
    if kind < 0.7:
        return [("transfer", rng.randint(0, words))]
    if kind < 0.8:
        return [("transfer", start), ("transfer", start ^ WRITE)]
    if kind < 0.9:
        return [("sync_word", rng.choice((MARK, 0x8912, 0x5224, 0xFFFF)))]
    return [("control", _change(rng))]


def _change(rng: random.Random) -> int:
    """Return a word for control that sets a bit, or more often clears one."""
    bit = rng.choice((SLOW_BITS, TOP_BIT_FRAMING, WAIT_FOR_SYNC, *_precompensation()))
    return rng.choice((SET, 0, 0)) | bit


def _precompensation() -> list[int]:
    return [1 << bit for bit in range(PRECOMPENSATION.lsb, PRECOMPENSATION.msb + 1)]


def _shoot(rng: random.Random, aimed: Aimed, ahead: int, reach: int) -> Steps:
    """Make the accesses a few cycles apart, the last of them `ahead` cycles on, or close to it."""
    *first, last = aimed
    left = ahead + rng.randint(-reach, reach)
    for access in first:
        left -= 9
        yield _access(*access, 9)
    yield _access(*last, left)


def _access(register: str, value: int | None, cost: int) -> Access:
    return Read(register, cost) if value is None else Put(register, value, cost)


AIMED_PROGRAMS: dict[str, ProgramMaker] = {
    program.__name__: program
    for program in (
        aim_at_bytes,
        aim_at_matches,
        aim_at_words,
        walk_sync_word,
        long_transfers,
        crowded_transfers,
        short_transfers,
    )
}
