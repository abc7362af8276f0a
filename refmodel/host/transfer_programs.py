"""Host programs that move words: they arm transfers, wait for their end, and stir them up."""

from __future__ import annotations

import random
from collections.abc import Generator
from typing import Any

from refmodel.block.arming import ENABLE, WRITE
from refmodel.block.control import PRECOMPENSATION, SET, SLOW_BITS, TOP_BIT_FRAMING, WAIT_FOR_SYNC
from refmodel.host.program import Access, Program, ProgramMaker, Read
from refmodel.host.program import Write as Put

WORD_CYCLES = 500  # a word of 16 channel bits takes 227 at 7.09379 MHz; slots may be rare

Steps = Generator[Access, Any, None]


def arm(value: int, times: int, cost: int) -> Steps:
    """Write transfer as often as it takes to start it."""
    for _ in range(times):
        yield Put("transfer", value, cost)


def until_done(cost: int, limit: int) -> Steps:
    """Poll status until dma_active has fallen, or `limit` cycles have passed.

    Where dma_active means that a transfer is enabled (policy dma_active_means) it does not fall by
    itself, and the time tells: no other bit of status says that a transfer has ended.
    """
    status = yield Read("status", cost)
    end = status.cycle + limit
    while status.dma_active and status.cycle < end:
        status = yield Read("status", cost)


def read_by_transfer(
    words: int = 64,
    count: int = 1,
    from_sync: bool = True,
    cost: int = 50,
    pause: int = 2000,
    search: int = 40_000,
) -> Program:
    """Read `words` words into memory, `count` times over; return how many transfers ended.

    `from_sync`: behind a sync word, for which it waits `search` cycles at most.
    """
    limit = words * WORD_CYCLES + (search if from_sync else 0)
    if from_sync:
        yield Put("control", SET | WAIT_FOR_SYNC, cost)
    for _ in range(count):
        yield from arm(ENABLE | words, 2, cost)
        yield from until_done(cost, limit)
        yield Put("transfer", 0, pause)
    return count


def write_by_transfer(
    words: int = 32, count: int = 1, precompensation: int = 0, cost: int = 50, pause: int = 9000
) -> Program:
    """Write `words` words from memory to the disk, `count` times over, then stop.

    `precompensation` is control's selection, 0 to 3. `pause` is the time from the last word moved
    to the stop, in which the words that wait are written.
    """
    yield Put("control", SET | precompensation << PRECOMPENSATION.lsb, cost)
    for _ in range(count):
        yield from arm(ENABLE | WRITE | words, 2, cost)
        yield from until_done(cost, words * WORD_CYCLES)
        yield Put("transfer", 0, pause)
    return count


def restart_transfers(words: int = 8, cost: int = 40, every: int = 3000) -> Program:
    """Start, stop half-way, start anew while words wait, and start with no words at all."""
    yield Put("control", SET | WAIT_FOR_SYNC, cost)
    while True:
        yield Put("transfer", ENABLE | words, cost)  # once: it must not start
        yield Put("transfer", 0, cost)
        yield Put("transfer", ENABLE | words, cost)  # off disarmed it
        yield Read("status", cost)
        yield from arm(ENABLE | words, 2, cost)
        yield Read("status", every)
        yield Put("control", WAIT_FOR_SYNC, cost)
        yield from arm(ENABLE | words, 2, cost)  # anew, under way
        yield Read("status", every)
        yield Put("transfer", 0, cost)
        yield Read("status", every)
        yield from arm(ENABLE, 2, cost)  # no words: done at once
        yield Read("status", cost)
        yield Put("transfer", 0, cost)
        yield Put("control", SET | WAIT_FOR_SYNC, cost)
        yield Read("status", every)


def step_through_control(cost: int = 60, every: int = 4000) -> Program:
    """Set and clear the bits of control one by one, reading status in between."""
    bits = (WAIT_FOR_SYNC, SLOW_BITS, TOP_BIT_FRAMING, *PRECOMPENSATION_BITS)
    while True:
        for form in (SET, 0):
            for bit in bits:
                yield Put("control", form | bit, cost)
                for _ in range(every // cost):
                    yield Read("status", cost)


def mixed_transfers(seed: int = 0, longest: int = 300, words: int = 6) -> Program:
    """Make random writes of transfer, control and sync_word and reads of status."""
    rng = random.Random(seed)
    choices = (WAIT_FOR_SYNC, SLOW_BITS, TOP_BIT_FRAMING, *PRECOMPENSATION_BITS)
    while True:
        kind, gap = rng.random(), rng.randint(1, longest)
        if kind < 0.45:
            yield Read("status", gap)
        elif kind < 0.60:
            control = sum(bit for bit in choices if rng.random() < 0.4)
            yield Put("control", control | (SET if rng.random() < 0.5 else 0), gap)
        elif kind < 0.70:
            yield Put("sync_word", rng.choice((0x4489, 0x4489, 0x5224)), gap)
        elif kind < 0.76:
            yield Put("transfer", rng.randint(0, words), gap)
        else:
            times = rng.choice((1, 2, 2, 2, 3))
            value = ENABLE | rng.randint(0, words)
            yield from arm(value | (WRITE if rng.random() < 0.5 else 0), times, gap)
            yield Read("status", rng.randint(1, 40 * longest))


PRECOMPENSATION_BITS = tuple(
    1 << bit for bit in range(PRECOMPENSATION.lsb, PRECOMPENSATION.msb + 1)
)
TRANSFER_PROGRAMS: dict[str, ProgramMaker] = {
    program.__name__: program
    for program in (
        read_by_transfer,
        write_by_transfer,
        restart_transfers,
        mixed_transfers,
        step_through_control,
    )
}
