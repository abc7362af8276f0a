"""Lessons about the status register: the 2 us window, ready, framing."""

from __future__ import annotations

import numpy as np

from refmodel.ground.lane import Lane
from refmodel.lessons.lesson import Choice, Curve, Knob, Lesson, Result, Results, Sketch, Task
from refmodel.lessons.play import (
    CYCLES,
    PAL,
    Ran,
    arrival,
    beside,
    bytes_after,
    draw,
    held_until_read,
    reads_at,
    run_bits,
    seen_at,
)
from refmodel.media.mfm import MARK_A1, word_bits
from refmodel.report.drawing.sheet import Drawn, Piece

POLLS = (4, 7, 10, 13, 14, 15, 18, 22, 30, 45)
CURVE = (*POLLS, 20, 26, 35, 40)
MARKS_ON_TRACK = 40
START = 5  # the edge of the first read
WORDS = [0xAAAA, MARK_A1, 0x5554, 0x9254, 0x2A92]
RIGHT, HELD, LATE = "as it must be", "held until it is read", "one cycle late"


def window() -> Lesson:
    """Return the lesson on how long sync_equal is up."""
    whole = word_bits(WORDS * MARKS_ON_TRACK)
    results: Results = {}
    for n, cost in enumerate(POLLS):
        ran = run_bits(whole, reads_at(*range(START, arrival(len(whole)), cost)))
        near = run_bits(word_bits(WORDS[:3]), reads_at(*range(START, arrival(48), cost)))
        for m, core in enumerate((RIGHT, HELD, LATE)):
            results[n, m] = _window(ran, near, cost, core)
    shares = sorted((cost, sum(_caught(whole, cost)) / MARKS_ON_TRACK) for cost in CURVE)
    return Lesson(
        "window",
        "The 2 us window, and how to catch it",
        ("B3", "B2", "B12"),
        (
            "sync_equal is 1 exactly while the last 16 channel bits equal the sync word. The next"
            " bit ends it: it is up for one channel bit, 2 us, which is 14 or 15 cycles here.",
            "It is not held for the host. A loop that polls must be quicker, or be lucky.",
        ),
        "A loop reads status every 30 cycles. How many of 40 marks does it catch?",
        (
            Choice("all", "The flag is up for 14 cycles. Between two reads it can come and go."),
            Choice(
                "about half",
                "The flag is up for 14 cycles, and a read falls on it in 14 of 30 cases.",
            ),
            Choice("none", "Reads fall anywhere beside the marks: some fall into the 14 cycles."),
        ),
        1,
        Task(
            "Find the slowest loop that misses no mark on a right core.",
            frozenset({(POLLS.index(14), 0)}),
            "A read every 14 cycles always falls into a window of 14 or 15. At 15 it is luck:"
            " where the window lasts 14, a read may fall just before and just after it.",
        ),
        (
            Knob("cycles from read to read", tuple(map(str, POLLS)), 8),
            Knob("sync_equal of the core", (RIGHT, HELD, LATE), quantity=False),
        ),
        results,
        CYCLES,
        sketch=Sketch(
            "sync_equal",
            (8, 0),
            "Sketch when sync_equal is up. The sync word is 4489; the window is drawn above.",
        ),
        curve=Curve(
            "How many marks are caught",
            "cycles from read to read",
            "share of the marks caught",
            tuple(shares),
            0,
            ((30, 1.0), (30, 0.5), (30, 0.0)),
        ),
    )


def _window(ran: Ran, near: Ran, cost: int, core: str) -> Result:
    """Return what a loop sees of a core's flag: all marks, and one of them close by."""
    lane = _sync_of(ran, core)
    caught = _seen(lane, ran.reads, ran.expected.end)
    rises = _rises(lane)
    marks = tuple(
        Piece(rise, rise + 400, "lit" if seen else "box", "")
        for rise, seen in zip(rises, caught, strict=True)
    )
    first = arrival(31) - 50
    drawn = draw(near, first, first + 130, "bits", "window", "sync_equal", "host")
    if core != RIGHT:
        drawn = beside(drawn, "sync_equal", near.expected.lanes["sync_equal"], _sync_of(near, core))
    spoilt = "" if core == RIGHT else f" But on this core the flag is {core}: B3 is broken."
    return Result(
        f"With a read every {cost} cycles the host catches {sum(caught)} of {MARKS_ON_TRACK}"
        f" marks; those caught are filled.{spoilt}",
        drawn,
        (sum(caught), cost),
        (Drawn("marks", marks),),
    )


def _sync_of(ran: Ran, core: str) -> Lane:
    """Return sync_equal as a core with a mistake shows it."""
    lane = ran.expected.lanes["sync_equal"]
    if core == HELD:
        return held_until_read(lane, ran.reads, ran.expected.end)
    return lane.late(0, ran.expected.end) if core == LATE else lane


def _caught(bits: np.ndarray, cost: int) -> list[bool]:
    ran = run_bits(bits, reads_at(*range(START, arrival(len(bits)), cost)))
    return _seen(ran.expected.lanes["sync_equal"], ran.reads, ran.expected.end)


def _rises(lane: Lane) -> list[int]:
    rises: list[int] = lane.cycle[lane.value == 1].tolist()
    return rises


def _seen(lane: Lane, reads: list[int], end: int) -> list[bool]:
    """Return of each appearance of a flag whether a read returned it."""
    rises = _rises(lane)
    falls = [*lane.cycle[lane.value == 0].tolist()[1:], end]
    seen = np.array(reads) - 1  # a read at edge n shows cycle n - 1
    spans = zip(rises, falls, strict=False)
    return [bool(((seen >= rise) & (seen < fall)).any()) for rise, fall in spans]


OFFSETS = (-3, -1, 0, 1, 2, 5, 20)
LATER = (1, 4, 12)
AT_ONCE, CYCLE_LATER = "clears at once", "clears a cycle late"


def ready() -> Lesson:
    """Return the lesson on byte_ready and the read that clears it."""
    results: Results = {}
    for n, offset in enumerate(OFFSETS):
        for m, later in enumerate(LATER):
            for k, core in enumerate((AT_ONCE, CYCLE_LATER)):
                results[n, m, k] = _ready(offset, later, core)
    blind = frozenset(at for at, result in results.items() if result.numbers == (0, 0))
    return Lesson(
        "ready",
        "Ready, and the read that clears it",
        ("B5",),
        (
            "A completed byte sets byte_ready. A read of status returns it and clears it: the first"
            " read sees 1, the next one 0, until another byte completes.",
            "The read returns the word from before its edge: it does not see its own clear, nor a"
            " byte that completes on the very same edge.",
        ),
        "A byte completes in cycle n. Two reads come at edges n + 5 and n + 6. What do they see?",
        (
            Choice(
                "1 and 1",
                "The first read clears the flag at its own edge, so the second finds 0. A core that"
                " clears one cycle late gives 1 and 1, and a loader takes one byte for two.",
            ),
            Choice("1 and 0", "The first read returns the 1 and clears it; the second finds 0."),
            Choice("0 and 1", "The flag is up since cycle n, so the first read already returns 1."),
        ),
        1,
        Task(
            "Place the two reads so that both see 0.",
            blind,
            "Reads up to the edge of the byte return what was before it. Both came too early; the"
            " flag is still up for the next one.",
        ),
        (
            Knob("first read, cycles after the byte", tuple(f"{o:+d}" for o in OFFSETS), 5),
            Knob("second read, cycles after the first", tuple(map(str, LATER))),
            Knob("a read of the core", (AT_ONCE, CYCLE_LATER), quantity=False),
        ),
        results,
        CYCLES,
        drag=("host", 0),
        sketch=Sketch(
            "byte_ready", (5, 0, 0), "Sketch byte_ready. The byte completes where data changes."
        ),
    )


def _ready(offset: int, later: int, core: str) -> Result:
    done = arrival(15)
    edges_of_reads = (done + offset, done + offset + later)
    ran = run_bits(word_bits([0x50A1, 0x5555]), reads_at(done - 30, *edges_of_reads))
    lane = ran.expected.lanes["byte_ready"]
    drawn = draw(ran, done - 40, done + 50, "bits", "data", "byte_ready", "host")
    spoilt = ""
    if core == CYCLE_LATER:
        cycles = np.where(lane.value == 0, lane.cycle + 1, lane.cycle)
        cycles[0] = lane.cycle[0]
        wrong = Lane.of(cycles, lane.value)
        drawn = beside(drawn, "byte_ready", lane, wrong)
        lane, spoilt = wrong, " This core breaks B5."
    one, two = seen_at(lane, edges_of_reads)
    return Result(
        f"The byte completes in cycle {done}. The first read, at edge {edges_of_reads[0]}, returns"
        f" byte_ready {one}; the second, {later} later, {two}.{spoilt}",
        drawn,
        (one, two),
    )


AFTER_MARK = [0xAAAA, MARK_A1, 0x5554, 0x9254, 0xAAAA]


def framing() -> Lesson:
    """Return the lesson on framing and realignment."""
    results: Results = {}
    for stray in range(8):
        for waits in (0, 1):
            for m, policy in enumerate(("when_waiting", "never")):
                results[stray, waits, m] = _framed(stray, waits, policy)
    return Lesson(
        "framing",
        "Framing and realignment",
        ("B4",),
        (
            "Every eighth channel bit completes a byte. But which eighth? The count began wherever"
            " the head happened to be.",
            "With wait_for_sync set, a match of the sync word restarts the count, and the next"
            " byte begins with the next bit.",
        ),
        "Without realignment, from how many of the 8 starting places are the bytes right?",
        (
            Choice("none", "If the count happens to stand at 0 after the mark, the bytes fit."),
            Choice(
                "1",
                "One: luck. That is why the mark does two things, being found and setting the"
                " count.",
            ),
            Choice("all 8", "The count goes on from where it is; in 7 of 8 cases bytes are cut."),
        ),
        1,
        Task(
            "Get the right bytes from a reader that is off by some bits.",
            frozenset((stray, 1, 0) for stray in range(1, 8)),
            "The match restarts the count, so where the reader began no longer matters. A core that"
            " never realigns cuts the bytes anywhere.",
        ),
        (
            Knob("bits the reader is off", tuple(map(str, range(8))), 3),
            Knob("wait_for_sync", ("0", "1"), quantity=False),
            Knob("realign of the core", ("when_waiting", "never"), quantity=False),
        ),
        results,
        CYCLES,
    )


def _framed(stray: int, waits: int, policy: str) -> Result:
    bits = np.concatenate((np.zeros(stray, np.uint8), word_bits(AFTER_MARK)))
    profile = PAL.with_policies({"realign": policy})
    ran = run_bits(bits, levels={"wait_for_sync": waits}, profile=profile)
    match = arrival(31 + stray)
    after = bytes_after(ran, match)
    said = " ".join(f"{value:02X}" for value in after)
    right = after[:4] == [0x55, 0x54, 0x92, 0x54]
    judged = "as they were written: 55 54 92 54" if right else "not those that were written"
    return Result(
        f"The reader begins {stray} bits off; the bytes after the mark are {said}, {judged}.",
        draw(ran, match - 60, match + 200, "window", "sync_equal", "byte_ready", "data"),
        (int(right),),
    )
