"""Lessons about what meets on one edge: a byte and a read, a write and a bit."""

from __future__ import annotations

import numpy as np

from refmodel.ground.bus import WRITE_SYNC_WORD, BusCycle
from refmodel.ground.lane import Lane
from refmodel.lessons.lesson import Choice, Knob, Lesson, Result, Results, Sketch, Task
from refmodel.lessons.play import (
    CYCLES,
    PAL,
    arrival,
    beside,
    bytes_after,
    draw,
    reads_at,
    run_bits,
)
from refmodel.media.mfm import MARK_A1, word_bits
from refmodel.report.drawing.sheet import Drawn, flag_pieces

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
            outcome = "learns of the byte" if any(heard) else "never learns of the byte"
            results[n, m] = Result(
                f"A read {_beside(offset)}, {policy}: the two reads return"
                f" byte_ready {heard[0]} and {heard[1]}. The host {outcome}.",
                draw(ran, done - 20, done + 50, "bits", "data", "byte_ready", "host"),
                (*heard,),
            )
    return Lesson(
        "tie",
        "The tie: byte and read on one edge",
        ("B5",),
        (
            "What if a byte completes on the edge of a read? One sets byte_ready, the other clears"
            " it. Real parts may settle it either way, so the model has a policy: ready_tie.",
            "With set_wins the next read finds the byte. With clear_wins the flag is down, and a"
            " host that polls never hears of it.",
        ),
        "A loop polls every 24 cycles, bytes come every 113.5 or so. Does the tie ever matter?",
        (
            Choice("no, it is too rare", "Loop and disk drift past each other: every edge is met."),
            Choice(
                "yes, sooner or later a read falls on that edge",
                "In about one byte of 24. A sector has over a thousand bytes.",
            ),
        ),
        1,
        Task(
            "Lose the byte: move the read and choose the policy so that no read returns it.",
            frozenset(at for at, result in results.items() if not any(result.numbers)),
            "Only on the very edge, and only where clearing wins, does the flag never come up.",
        ),
        (
            Knob("read, cycles from the byte", tuple(f"{offset:+d}" for offset in TIE), 1),
            Knob("policy ready_tie", WINNERS, quantity=False),
        ),
        results,
        CYCLES,
        drag=("host", 0),
        sketch=Sketch(
            "byte_ready", (4, 0), "Sketch byte_ready for a read 2 cycles after the byte."
        ),
    )


def _beside(offset: int) -> str:
    """Say where a read lies beside the edge that completes the byte."""
    if not offset:
        return "on the very edge of the byte"
    cycles = f"{abs(offset)} cycle{'s' * (abs(offset) > 1)}"
    return f"{cycles} {'after' if offset > 0 else 'before'} the byte"


WRITTEN_AT = (-15, -1, 0, 1, 8, 16)
ORDERS = ("old", "new")
COMPARES = ("always", "at_bits")
STRAY = 3  # channel bits the reader is off, so that only a match sets its count right
BEHIND = [0x5554, 0x9254]


def same_edge() -> Lesson:
    """Return the lesson on a write of sync_word that meets a channel bit."""
    results: Results = {
        (n, m, k): _written(offset, order, compare)
        for n, offset in enumerate(WRITTEN_AT)
        for m, order in enumerate(ORDERS)
        for k, compare in enumerate(COMPARES)
    }
    met = WRITTEN_AT.index(0)
    return Lesson(
        "same_edge",
        "Policies: a write and a bit on one edge",
        ("B3",),
        (
            "The host writes the word to look for while bits go by. If the write falls on the edge"
            " of the bit that completes that word, which of the two words does the bit meet?",
            "In plain registered Verilog the one from before: policy same_edge_write is old. A"
            " core that passes the write through has new. Such places are policies in the model,"
            " with both choices; sync_compare is another: does the level"
            " follow a write, or only bits?",
        ),
        "The word is written on the very edge of the last bit of the mark, policy old. sync_equal"
        " rises. Are the bytes after the mark right?",
        (
            Choice(
                "yes, the mark was found",
                "The level compares what the registers hold after the edge, so it shows the mark."
                " But the bit itself met the old word: no match, and the count of bits goes on"
                " where it was.",
            ),
            Choice(
                "no, the bit met the old word",
                "The level shows the mark, but no bit has matched: nothing restarts the count, and"
                " bytes are cut anywhere.",
            ),
        ),
        1,
        Task(
            "Write on the very edge of the bit, and get the right bytes all the same.",
            frozenset(at for at, found in results.items() if at[0] == met and found.numbers[1]),
            "With new the bit meets the word written on its own edge, and the match restarts the"
            " count. Where you do not know the part, write the word at least a cycle earlier.",
        ),
        (
            Knob("write, cycles from the last bit", tuple(f"{o:+d}" for o in WRITTEN_AT), met),
            Knob("policy same_edge_write", ORDERS, quantity=False),
            Knob("policy sync_compare", COMPARES, quantity=False),
        ),
        results,
        CYCLES,
        drag=("host", 0),
    )


def _written(offset: int, order: str, compare: str) -> Result:
    policies = {"same_edge_write": order, "sync_compare": compare, "realign": "always"}
    profile = PAL.with_policies(policies)
    never = profile.reset.model_copy(update={"sync_word": 0xF00F})  # no MFM data has this word
    profile = profile.model_copy(update={"reset": never})
    match = arrival(31 + STRAY)
    words = word_bits([0xAAAA, MARK_A1, *BEHIND, 0xAAAA])
    bits = np.concatenate((np.zeros(STRAY, np.uint8), words))
    ran = run_bits(bits, [BusCycle(match + offset, WRITE_SYNC_WORD, value=MARK_A1)], None, profile)
    lane = ran.expected.lanes["sync_equal"]
    up = lane.cycle[lane.value == 1].tolist()
    after = bytes_after(ran, match)[:4]
    right = after == [0x55, 0x54, 0x92, 0x54]
    said = f"sync_equal rises in cycle {up[0]}" if up else "sync_equal never rises"
    judged = "as they were written" if right else "cut in the wrong places"
    when = "on that edge" if not offset else f"{offset:+d} cycles from it"
    return Result(
        f"The last bit of the mark arrives in cycle {match}; 4489 is written {when}, {order},"
        f" {compare}: {said}. The bytes after it are {judged}.",
        draw(ran, match - 40, match + 180, "bits", "window", "sync_equal", "data", "host"),
        (len(up), int(right)),
    )


RESET_AT = (-10, 0, 8, 40)
RESET_FOR = 3  # edges
RESET_ALL, KEEPS = "resets it", "keeps it"


def reset() -> Lesson:
    """Return the lesson on what status shows while reset is asserted."""
    results: Results = {
        (n, m): _reset(offset, core)
        for n, offset in enumerate(RESET_AT)
        for m, core in enumerate((RESET_ALL, KEEPS))
    }
    return Lesson(
        "reset",
        "Reset, and what status shows then",
        ("B14", "B8"),
        (
            "While reset is asserted every field of status shows its reset value, from the first"
            " edge that samples it on, and bits of status that belong to no field read 0 always.",
            "A register without a reset holds whatever it began with. A simulator with four states"
            " shows that as X; one with two states begins it at random. An unknown bit is a"
            " mismatch of its own kind.",
        ),
        "A byte completes on the very edge that samples reset. What is byte_ready afterwards?",
        (
            Choice("1, the byte came", "Reset comes first: what else falls on its edge is lost."),
            Choice(
                "0, reset has priority",
                "It comes before bits, writes and slots of the same edge.",
            ),
            Choice("unknown", "It is defined: each field has its reset value from that edge on."),
        ),
        1,
        Task(
            "Let the byte and reset meet on one edge of a core that resets all it has.",
            frozenset({(RESET_AT.index(0), 0)}),
            "The byte is lost, and so is the place in it: the count of bits begins again.",
        ),
        (
            Knob("reset, cycles from the byte", tuple(f"{o:+d}" for o in RESET_AT), 2),
            Knob("byte_ready of the core: reset", (RESET_ALL, KEEPS), quantity=False),
        ),
        results,
        CYCLES,
    )


def _reset(offset: int, core: str) -> Result:
    done = arrival(15)
    at = done + offset
    ran = run_bits(word_bits([0x50A1, 0x5555]), reads_at(done - 60), resets=((at, at + RESET_FOR),))
    lane = ran.expected.lanes["byte_ready"]
    drawn = draw(ran, done - 40, done + 70, "bits", "window", "data", "byte_ready")
    asserted = Lane.of(np.array([0, at, at + RESET_FOR]), np.array([0, 1, 0]))
    drawn = (Drawn("reset", flag_pieces(asserted, done - 40, done + 70)), *drawn)
    spoilt = ""
    if core == KEEPS:
        free = run_bits(word_bits([0x50A1, 0x5555]), reads_at(done - 60))
        drawn = beside(drawn, "byte_ready", lane, free.expected.lanes["byte_ready"])
        spoilt = " This core breaks B14 where the two differ."
    after = int(lane.at(at + RESET_FOR))
    return Result(
        f"The byte completes in cycle {done}, reset is sampled at edges {at} to"
        f" {at + RESET_FOR - 1}: then byte_ready is {after}.{spoilt}",
        drawn,
        (after, int(lane.value.max())),
    )
