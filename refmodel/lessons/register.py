"""Lessons about the status register: the 2 us window, ready, the tie, framing."""

from __future__ import annotations

import numpy as np

from refmodel.block.registers import RegisterBlock
from refmodel.engine.blame import completes_byte
from refmodel.engine.edges import edges
from refmodel.lessons.lesson import Knob, Lesson, Result, Results
from refmodel.lessons.play import PAL, Ran, arrival, draw, reads_at, run_bits
from refmodel.media.mfm import MARK_A1, word_bits

POLLS = (4, 7, 10, 13, 14, 15, 18, 22, 30, 45)
MARKS_ON_TRACK = 40


def window() -> Lesson:
    """Return the lesson on how long sync_equal is up."""
    results: Results = {}
    for n, cost in enumerate(POLLS):
        words = [0xAAAA, MARK_A1, 0x5554, 0x9254, 0x2A92]
        caught = _caught(words * MARKS_ON_TRACK, cost)
        bits = word_bits(words[:3])
        first = arrival(31) - 50
        polled = run_bits(bits, reads_at(*range(10, arrival(len(bits)), cost)))
        results[n,] = Result(
            f"With a read every {cost} cycles the host catches {caught} of {MARKS_ON_TRACK} marks.",
            draw(polled, first, first + 130, "bits", "window", "sync_equal", "host"),
            (caught, cost),
        )
    return Lesson(
        "window",
        "The 2 us window, and how to catch it",
        (
            "sync_equal is 1 exactly while the last 16 channel bits equal the sync word. The next"
            " bit ends it: it is up for one channel bit, 2 us, which is 14 or 15 cycles here.",
            "It is not held for the host. A loop that polls must be quicker, or be lucky.",
        ),
        "A loop reads status every 30 cycles. How many marks does it catch?",
        ("all", "about half", "none"),
        1,
        "About half: the flag is up for 14 cycles, and a read falls on it in 14 of 30 cases.",
        "Find the slowest loop that misses no mark. Why is 14 safe, and 15 only lucky?",
        (Knob("cycles from read to read", tuple(map(str, POLLS)), 8),),
        results,
    )


def _caught(words: list[int], cost: int) -> int:
    """Return in how many appearances of sync_equal a read at this pace saw it."""
    bits = word_bits(words)
    ran = run_bits(bits, reads_at(*range(10, arrival(len(bits)), cost)))
    lane = ran.expected.lanes["sync_equal"]
    rises = lane.cycle[lane.value == 1].tolist()
    falls = [*lane.cycle[lane.value == 0].tolist()[1:], ran.expected.end]
    seen = ran.expected.read_cycle - 1  # a read at edge n shows cycle n - 1
    spans = zip(rises, falls, strict=False)
    return sum(bool(((seen >= rise) & (seen < fall)).any()) for rise, fall in spans)


OFFSETS = (-3, -1, 0, 1, 2, 5, 20)


def ready() -> Lesson:
    """Return the lesson on byte_ready and the read that clears it."""
    results: Results = {}
    done = arrival(15)
    for n, offset in enumerate(OFFSETS):
        for m, later in enumerate((1, 4, 12)):
            first, second = done + offset, done + offset + later
            ran = run_bits(word_bits([0x50A1, 0x5555]), reads_at(done - 30, first, second))
            one, two = (int(v) >> 15 for v in ran.expected.read_value[-2:])
            results[n, m] = Result(
                f"The byte completes in cycle {done}. The first read, at edge {first}, returns"
                f" byte_ready {one}; the second, {later} later, {two}.",
                draw(ran, done - 40, done + 50, "bits", "data", "byte_ready", "host"),
                (one, two),
            )
    return Lesson(
        "ready",
        "Ready, and the read that clears it",
        (
            "A completed byte sets byte_ready. A read of status returns it and clears it: the first"
            " read sees 1, the next one 0, until another byte completes.",
            "The read returns the word from before its edge: it does not see its own clear, nor a"
            " byte that completes on the very same edge.",
        ),
        "A byte completes in cycle n. Two reads come at edges n + 5 and n + 6. What do they see?",
        ("1 and 1", "1 and 0", "0 and 1"),
        1,
        "1 and 0. A core that clears one cycle late gives 1 and 1, and a loader takes one byte"
        " for two.",
        "Move the first read across the byte. When do both reads see 0?",
        (
            Knob("first read, cycles after the byte", tuple(f"{o:+d}" for o in OFFSETS), 5),
            Knob("second read, cycles after the first", ("1", "4", "12")),
        ),
        results,
    )


TIE = (-2, -1, 0, 1, 2)
WINNERS = ("set_wins", "clear_wins")


def tie() -> Lesson:
    """Return the lesson on a byte and a read on one edge."""
    results: Results = {}
    done = arrival(15)
    for n, offset in enumerate(TIE):
        for m, policy in enumerate(WINNERS):
            profile = PAL.with_policies({"ready_tie": policy})
            reads = reads_at(done - 60, done + offset, done + offset + 24)
            ran = run_bits(word_bits([0x50A1, 0x5555]), reads, profile=profile)
            heard = [int(value) >> 15 for value in ran.expected.read_value[-2:]]
            told = "is told of the byte" if any(heard) else "never hears of the byte"
            results[n, m] = Result(
                f"A read {_beside(offset)}, {policy}: the two reads return"
                f" byte_ready {heard[0]} and {heard[1]}. The host {told}.",
                draw(ran, done - 20, done + 50, "bits", "data", "byte_ready", "host"),
                (*heard,),
            )
    return Lesson(
        "tie",
        "The tie: byte and read on one edge",
        (
            "What if a byte completes on the edge of a read? One sets byte_ready, the other clears"
            " it. Real parts may settle it either way, so the model has a policy: ready_tie.",
            "With set_wins the next read finds the byte. With clear_wins the flag is down, and a"
            " host that polls never hears of it.",
        ),
        "A loop polls every 24 cycles, bytes come every 113.5 or so. Does the tie ever matter?",
        ("no, it is too rare", "yes, sooner or later a read falls on that edge"),
        1,
        "Sooner or later it does: in one byte of about 24. A sector has over a thousand of them.",
        "Put the read on the edge, offset +0, and change the policy.",
        (
            Knob("read, cycles from the byte", tuple(f"{offset:+d}" for offset in TIE), 1),
            Knob("policy ready_tie", WINNERS),
        ),
        results,
    )


def _beside(offset: int) -> str:
    """Say where a read lies beside the edge that completes the byte."""
    if not offset:
        return "on the very edge of the byte"
    cycles = f"{abs(offset)} cycle{'s' * (abs(offset) > 1)}"
    return f"{cycles} {'after' if offset > 0 else 'before'} the byte"


AFTER_MARK = [0xAAAA, MARK_A1, 0x5554, 0x9254, 0xAAAA]


def _bytes_after(ran: Ran, match: int) -> list[int]:
    """Return the four bytes that complete after the cycle of the match."""
    block = RegisterBlock(ran.profile)
    block.restore(ran.span.state)
    done = [
        edge.after.data
        for edge in edges(block, ran.span.stimulus)
        if edge.cycle > match and completes_byte(edge)
    ]
    return done[:4]


def framing() -> Lesson:
    """Return the lesson on framing and realignment."""
    results: Results = {}
    for stray in range(8):
        for waits in (0, 1):
            bits = np.concatenate((np.zeros(stray, np.uint8), word_bits(AFTER_MARK)))
            ran = run_bits(bits, levels={"wait_for_sync": waits})
            match = arrival(31 + stray)
            after = _bytes_after(ran, match)
            said = " ".join(f"{value:02X}" for value in after)
            right = after[:4] == [0x55, 0x54, 0x92, 0x54]
            judged = "as they were written: 55 54 92 54" if right else "not those that were written"
            results[stray, waits] = Result(
                f"The reader begins {stray} bits off; the bytes after the mark are {said},"
                f" {judged}.",
                draw(ran, match - 60, match + 200, "window", "data"),
                (int(right),),
            )
    return Lesson(
        "framing",
        "Framing and realignment",
        (
            "Every eighth channel bit completes a byte. But which eighth? The count began wherever"
            " the head happened to be.",
            "With wait_for_sync set, a match of the sync word restarts the count, and the next"
            " byte begins with the next bit.",
        ),
        "Without realignment, for how many of the 8 places to begin are the bytes right?",
        ("none", "1", "all 8"),
        1,
        "One: luck. That is why the mark does two things, being found and setting the count.",
        "Set wait_for_sync and move the beginning: the bytes no longer care.",
        (
            Knob("bits the reader is off", tuple(map(str, range(8))), 3),
            Knob("wait_for_sync", ("0", "1")),
        ),
        results,
    )
