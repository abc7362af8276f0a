"""Lessons about the disk: channel bits, the mark, density, the separator."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np

from refmodel.ground.numbers import counted
from refmodel.lessons.lesson import Choice, Knob, Lesson, Result, Results, Task
from refmodel.lessons.play import BITS, CYCLES, PAL, SEED, Ran, draw, returned_by
from refmodel.media.mfm import Bits, bits_to_words, encode, find, word_bits
from refmodel.media.seeded import random_bytes
from refmodel.report.drawing.sheet import Drawn, Piece
from refmodel.report.numbers import grouped
from refmodel.separator import leap
from refmodel.separator.choose import NAMES, make_separator
from refmodel.world.disk import Disk
from refmodel.world.scenario import Scenario
from refmodel.world.spans import spans_of

BIT_US = PAL.channel_bit_ns / 1000
BYTES = (0x00, 0xFF, 0x55, 0xAA, 0x4E, 0xA1, 0xC2, 0x12)


def channel_bit() -> Lesson:
    """Return the lesson on what a channel bit is."""
    results: Results = {}
    for n, byte in enumerate(BYTES):
        for before in (0, 1):
            bits = encode(bytes([byte]), before)
            ones = np.flatnonzero(bits)
            gaps = np.diff(ones) * BIT_US
            apart = ", ".join(f"{gap:g}" for gap in gaps) or "none"
            results[n, before] = Result(
                f"{byte:02X} is recorded as {_grouped(bits)}: {len(ones)} transitions of the"
                f" magnet field, {apart} us apart.",
                _bit_lanes(bits),
                (len(ones), *ones.tolist()),
            )
    most = max(numbers.numbers[0] for numbers in results.values())
    return Lesson(
        "channel_bit",
        "What a channel bit is",
        ("B1", "B13"),
        (
            "A drive cannot tell how strong a magnetic field is, only when it turns over. Each"
            " place on the track where it may turn is a channel bit: 1 if it does, 0 if not.",
            "MFM spends two of them on each data bit: one for the data, and a clock bit before it"
            " that is 1 only between two zeros, so that turns never come too close or too far"
            " apart. At double density a channel bit lasts 2 us.",
        ),
        "How many channel bits go past the head for one byte of data?",
        (
            Choice("8", "That would leave no clock bits: eight zeros would be silence for 16 us."),
            Choice("9", "One parity or clock bit a byte is not enough to keep a reader in step."),
            Choice("16", "A clock bit and a data bit, eight times. They take 32 us."),
        ),
        2,
        Task(
            "Find a byte that makes the field turn as often as any can.",
            frozenset(at for at, result in results.items() if result.numbers[0] == most),
            "Eight equal bits in a row turn the field once a data bit: zeros by their clock bits,"
            " ones by themselves. Any change between them saves a turn.",
        ),
        (
            Knob("byte", tuple(f"{byte:02X}" for byte in BYTES), 5, quantity=False),
            Knob("data bit before it", ("0", "1"), quantity=False),
        ),
        results,
        BITS,
    )


def _grouped(bits: Bits) -> str:
    return " ".join("".join(map(str, bits[n : n + 4].tolist())) for n in range(0, len(bits), 4))


def _bit_lanes(bits: Bits, name: str = "channel bits") -> tuple[Drawn, ...]:
    """Draw channel bits one unit long, and the turns of the field under them."""
    boxes = tuple(Piece(n, n + 1, "box", str(bit)) for n, bit in enumerate(bits.tolist()))
    ones = [-1, *np.flatnonzero(bits).tolist(), len(bits)]
    levels = tuple(
        Piece(max(0, start + 0.5 * (start >= 0)), min(stop + 0.5, len(bits)), ("off", "on")[n % 2])
        for n, (start, stop) in enumerate(pairwise(ones))
    )
    return Drawn(name, boxes), Drawn("field", levels)


WORDS = (0x44A9, 0x4489, 0x5224)
DATA = {
    "zeros": bytes(2000),
    "bytes A1 only": b"\xa1" * 2000,
    "every pair of bytes": bytes(n for a in range(256) for b in range(256) for n in (a, b)),
    "random bytes": random_bytes(20_000, SEED),
}


def mark() -> Lesson:
    """Return the lesson on the sync word 4489."""
    results: Results = {}
    for n, word in enumerate(WORDS):
        for m, (name, data) in enumerate(DATA.items()):
            count = len(find(encode(data), word))
            results[n, m] = Result(
                f"{word:04X} is found {counted(count, 'time')} in"
                f" {grouped(len(data))} bytes of data ({name}),"
                " at any phase of the channel bits."
                + (
                    " Here it could serve as a mark."
                    if count == 0
                    else " It would start false sectors."
                ),
                _bit_lanes(word_bits(word), f"{word:04X}"),
                (count,),
            )
    plain = int(bits_to_words(encode(b"\xa1"))[0])
    return Lesson(
        "mark",
        "Why 4489",
        ("B3", "B12"),
        (
            "A reader that joins the stream somewhere must find where bytes begin. It needs a"
            " pattern that data never makes, not even across two bytes, not even shifted.",
            f"The byte A1 is recorded as {plain:04X}. Leave out one of its clock bits and it"
            " becomes 4489: still readable as A1, but no encoder makes it.",
        ),
        "All 65 536 pairs of bytes are recorded one after the other. How often is 4489 in them?",
        (
            Choice(
                "never",
                "The clock bit between two zeros, missing in 4489, is just what the encoder always"
                " writes.",
            ),
            Choice("256 times", "That is how often 44A9 comes, with the clock bit in its place."),
            Choice(
                "about twice: 131 072 bytes hold some 2 million patterns",
                "So it would be if channel bits were random. MFM forbids most patterns of 16.",
            ),
        ),
        0,
        Task(
            "Find a word that would start false sectors in data.",
            frozenset(at for at, result in results.items() if result.numbers[0]),
            "The encoder makes this word itself, so any data may hold it: it is no mark.",
        ),
        (
            Knob("word looked for", tuple(f"{word:04X}" for word in WORDS), 1, quantity=False),
            Knob("data", tuple(DATA), 2, quantity=False),
        ),
        results,
        BITS,
    )


PERCENT = (-8, -4, -2, 0, 2, 4, 8)
COSTS = (8, 16, 32, 64)
COUNTED = 40  # bytes
SURELY = 10  # counts that are no chance


def density() -> Lesson:
    """Return the lesson on density measured by polling."""
    results: Results = {}
    for n, percent in enumerate(PERCENT):
        for m, cost in enumerate(COSTS):
            results[n, m] = _counted(percent, cost)
    usual = results[PERCENT.index(0), 1].numbers[0]
    longer = results[PERCENT.index(4), 1].numbers[0]
    surely = [at for at in results if at[0] == PERCENT.index(2) and _apart(results, at) >= SURELY]
    return Lesson(
        "density",
        "Measuring density by polling",
        ("B5",),
        (
            "A host without a timer still has one: its own loop. It counts how often it must poll"
            " byte_ready until the next byte is there.",
            "If part of a track was written with longer channel bits, the count rises there. A"
            " copy, written at one speed, gives one count everywhere.",
        ),
        f"At nominal speed {usual:g} polls fetch {COUNTED - 1} bytes. The bits get 4 % longer."
        " How many polls now?",
        (
            Choice(f"{usual:g}", "The loop keeps its pace while bytes come later: it turns more."),
            Choice(
                f"about {usual * 1.04:.0f}",
                f"{longer:g}. One byte alone would not tell: its count jitters by one.",
            ),
            Choice(f"about {usual * 2:.0f}", "Bits 4 % longer cost 4 % more polls, not 100 %."),
        ),
        1,
        Task(
            "Take bits 2 % longer, and a loop so quick that its count differs by"
            f" {SURELY} or more from that of nominal bits.",
            frozenset(surely),
            "Each poll is a step of the ruler: the quicker the loop, the finer it measures. A slow"
            " one sees two counts more, and one of them is chance.",
        ),
        (
            Knob("length of a channel bit", tuple(f"{p:+d} %" for p in PERCENT), 3),
            Knob("cycles per poll", tuple(map(str, COSTS)), 1),
        ),
        results,
        CYCLES,
    )


def _apart(results: Results, at: tuple[int, ...]) -> float:
    """Return by how much a count differs from that at nominal speed."""
    return abs(results[at].numbers[0] - results[PERCENT.index(0), at[1]].numbers[0])


def _counted(percent: int, cost: int) -> Result:
    """Return how often a loop polls, and draw the first bytes of it."""
    scenario = {
        "track": {"layout": "words", "words": [0x9254], "repeat": 60},
        "density": [{"percent": percent}],
        "host": {"program": "poll_until_ready", "params": {"cost": cost, "count": COUNTED}},
    }
    polls = returned_by(scenario)[1:]
    read = Scenario.model_validate({"name": "lesson", **scenario})
    span = next(spans_of(Path(), Disk.of(read, PAL, Path(), SEED)))
    ran = Ran(PAL, span)
    lane = ran.expected.lanes["byte_ready"]
    done = lane.cycle[lane.value == 1].tolist()
    reads = np.array(ran.reads)
    counts = tuple(
        Piece(a, b, "box", str(int(((reads > a) & (reads <= b)).sum())))
        for a, b in pairwise(done[1:9])
    )
    total = sum(polls)
    return Result(
        f"Channel bits {percent:+d} % long, {cost} cycles per poll: {total} polls for"
        f" {len(polls)} bytes, {min(polls)} to {max(polls)} for one.",
        draw(ran, done[1], done[1] + 350, "bits", "data", "byte_ready", "host"),
        (total, len(polls)),
        (Drawn("polls a byte", counts),),
    )


SPEEDS = (-6, -4, -2, 0, 2, 4, 6)
PULSES = 96  # of a preamble of zeros: a pulse every second channel bit


def separator() -> Lesson:
    """Return the lesson on the separator locking."""
    results: Results = {}
    for n, name in enumerate(NAMES):
        for m, speed in enumerate(SPEEDS):
            results[n, m] = _locked(name, speed)
    best = min((at for at in results if at[1] == 5), key=lambda at: results[at].numbers[0])
    least = results[best].numbers[0]
    loop = results[NAMES.index("second_order"), 5].numbers[0]
    rests = results[NAMES.index("counter"), 3].numbers[0]
    return Lesson(
        "separator",
        "The separator locking",
        (),
        (
            "Pulses from a real drive come early and late, and the disk turns a little fast or"
            " slow. The separator keeps a window the length of a channel bit and moves it so that"
            " pulses fall into its middle.",
            "Here it meets a preamble of zeros, a pulse every 4 us, on a disk that turns at the"
            " wrong speed. The numbers are the errors of the first pulses in nanoseconds: 0 is the"
            " middle of the window, 1000 its edge.",
        ),
        "A separator that only moves its window, and never learns the speed, follows a disk 4 %"
        " slow. What becomes of the error?",
        (
            Choice("it goes to 0", "Each window is as long as before, so the next pulse is late."),
            Choice(
                "it stays the same at every pulse",
                "Each pulse comes 4 % of 4 us after the middle, 160 ns, and each time the window is"
                " moved there. Choose rephase and see. second_order learns the speed.",
            ),
            Choice(
                "it grows until bits are lost",
                "The window is moved onto every pulse, so the error cannot add up.",
            ),
        ),
        1,
        Task(
            "Bits 4 % long: which separator ends with the least error?",
            frozenset({best}),
            f"The counter, though it is the simpler one: {least:.0f} ns against {loop:.0f} of the"
            f" loop. Pulses are seen at whole cycles of {float(PAL.cycle_ns):.0f} ns, and rounding"
            " alone makes a quarter of that, 35 ns, on average. Inside its dead zone the counter"
            " answers to nothing; the loop follows every rounding and adds some of its own. The"
            f" price shows at +0 %: there the counter rests {rests:.0f} ns beside the middle.",
        ),
        (
            Knob("separator", NAMES, 2, quantity=False),
            Knob("length of a channel bit", tuple(f"{speed:+d} %" for speed in SPEEDS), 5),
        ),
        results,
        CYCLES,
    )


def _locked(name: str, speed: int) -> Result:
    """Return how a separator follows a preamble at a wrong speed."""
    made = make_separator(name, PAL.separator, PAL.cycles_per_bit)
    apart = 2 * PAL.cycles_per_bit * (1 + Fraction(speed, 100))
    pulses = np.array([100 + int(n * apart) for n in range(PULSES)], np.int64)
    followed = leap.follow(made, pulses)
    ns = followed.phase / made.one * float(PAL.cycle_ns)
    windows = np.diff(followed.window)
    wrong = int(np.count_nonzero(windows != 2))
    last = float(np.abs(ns[-16:]).mean())
    return Result(
        f"{name}, bits {speed:+d} %: over the last 16 of {PULSES} pulses the error is {last:.0f} ns"
        f" on average, and {counted(wrong, 'pulse')} decoded wrong.",
        _followed(pulses, ns, made.one * 1.0, followed.phase),
        (last, wrong),
    )


def _followed(
    pulses: np.ndarray,
    ns: np.ndarray,
    one: float,
    phase: np.ndarray,
) -> tuple[Drawn, ...]:
    """Draw the first pulses, the window each fell into, and its error."""
    half = float(PAL.cycles_per_bit) / 2
    rows = range(12)
    middle = [float(pulses[n] - phase[n] / one) for n in rows]
    return (
        Drawn("pulses", tuple(Piece(int(pulses[n]), int(pulses[n]) + 1, "mark") for n in rows)),
        Drawn("its window", tuple(Piece(m - half, m + half, "box") for m in middle)),
        Drawn(
            "error, ns",
            tuple(
                Piece(m - half, m + 3 * half, "box", f"{ns[n]:.0f}") for n, m in enumerate(middle)
            ),
        ),
    )
