"""Lessons about the disk: channel bits, the mark, density, the separator."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from refmodel.lessons.lesson import Knob, Lesson, Result, Results
from refmodel.lessons.play import PAL, SEED, told_by
from refmodel.media.mfm import Bits, bits_to_words, encode, find, word_bits
from refmodel.media.seeded import random_bytes
from refmodel.report.drawing.sheet import Drawn, Piece
from refmodel.report.numbers import grouped
from refmodel.separator import leap
from refmodel.separator.choose import NAMES, make_separator

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
    return Lesson(
        "channel_bit",
        "What a channel bit is",
        (
            "A drive cannot tell how strong a magnetic field is, only when it turns over. Each"
            " place on the track where it may turn is a channel bit: 1 if it does, 0 if not.",
            "MFM spends two of them on each data bit: one for the data, and a clock bit before it"
            " that is 1 only between two zeros, so that turns never come too close or too far"
            " apart. At double density a channel bit lasts 2 us.",
        ),
        "How many channel bits go past the head for one byte of data?",
        ("8", "9", "16"),
        2,
        "16: a clock bit and a data bit, eight times. They take 32 us.",
        "Choose a byte. Watch the distances: whatever the byte, they are 4, 6 or 8 us.",
        (
            Knob("byte", tuple(f"{byte:02X}" for byte in BYTES), 5),
            Knob("data bit before it", ("0", "1")),
        ),
        results,
    )


def _grouped(bits: Bits) -> str:
    return " ".join("".join(map(str, bits[n : n + 4].tolist())) for n in range(0, len(bits), 4))


def _bit_lanes(bits: Bits, name: str = "channel bits") -> tuple[Drawn, ...]:
    """Draw channel bits one unit long, and the turns of the field under them."""
    boxes = tuple(Piece(n, n + 1, "box", str(bit)) for n, bit in enumerate(bits.tolist()))
    turns = tuple(Piece(n + 0.4, n + 0.6, "on") for n in np.flatnonzero(bits).tolist())
    return Drawn(name, boxes), Drawn("field turns", turns)


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
                f"{word:04X} is found {count} times in {grouped(len(data))} bytes of data ({name}),"
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
        (
            "A reader that joins the stream somewhere must find where bytes begin. It needs a"
            " pattern that data never makes, not even across two bytes, not even shifted.",
            f"The byte A1 is recorded as {plain:04X}. Leave out one of its clock bits and it"
            " becomes 4489: still readable as A1, but no encoder makes it.",
        ),
        "All 65 536 pairs of bytes are recorded one after the other. How often is 4489 in them?",
        ("never", "256 times", "about twice: 131 072 bytes hold some 2 million patterns"),
        0,
        "Never. The missing clock bit between two zeros is just what the encoder always writes.",
        "Look for other words in other data. 44A9 is the A1 with its clock bit.",
        (
            Knob("word looked for", tuple(f"{word:04X}" for word in WORDS), 1),
            Knob("data", tuple(DATA), 2),
        ),
        results,
    )


PERCENT = (-8, -4, -2, 0, 2, 4, 8)
COSTS = (8, 16, 32, 64)
COUNTED = 40  # bytes


def density() -> Lesson:
    """Return the lesson on density measured by polling."""
    results: Results = {}
    for n, percent in enumerate(PERCENT):
        for m, cost in enumerate(COSTS):
            polls = told_by(
                {
                    "track": {"layout": "words", "words": [0x9254], "repeat": 60},
                    "density": [{"percent": percent}],
                    "host": {
                        "program": "poll_until_ready",
                        "params": {"cost": cost, "count": COUNTED},
                    },
                }
            )[1:]
            total = sum(polls)
            results[n, m] = Result(
                f"Channel bits {percent:+d} % long, a poll every {cost} cycles: {total} polls for"
                f" {len(polls)} bytes, {min(polls)} to {max(polls)} for one.",
                numbers=(total, len(polls)),
            )
    usual = results[PERCENT.index(0), 1].numbers[0]
    longer = results[PERCENT.index(4), 1].numbers[0]
    return Lesson(
        "density",
        "Measuring density by polling",
        (
            "A host without a timer still has one: its own loop. It counts how often it must poll"
            " byte_ready until the next byte is there.",
            "If part of a track was written with longer channel bits, the count rises there. A"
            " copy, written at one speed, gives one count everywhere.",
        ),
        f"At nominal speed {usual:g} polls fetch {COUNTED - 1} bytes. The bits get 4 % longer."
        " How many polls now?",
        (f"{usual:g}", f"about {usual * 1.04:.0f}", f"about {usual * 2:.0f}"),
        1,
        f"{longer:g}. One byte alone would not tell: the count of a single byte jitters by one.",
        "Make the loop slower. At which pace can 2 % still be told from nothing over this many"
        " bytes?",
        (
            Knob("length of a channel bit", tuple(f"{p:+d} %" for p in PERCENT), 3),
            Knob("cycles a poll", tuple(map(str, COSTS)), 1),
        ),
        results,
    )


SPEEDS = (-6, -4, -2, 0, 2, 4, 6)
PULSES = 96  # of a preamble of zeros: a pulse every second channel bit


def separator() -> Lesson:
    """Return the lesson on the separator locking."""
    results: Results = {}
    for n, name in enumerate(NAMES):
        for m, speed in enumerate(SPEEDS):
            results[n, m] = _locked(name, speed)
    return Lesson(
        "separator",
        "The separator locking",
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
        ("it goes to 0", "it stays the same at every pulse", "it grows until bits are lost"),
        1,
        "It stays: each pulse comes 4 % of 4 us after the middle, 160 ns, and each time the window"
        " is moved there. Choose rephase and see. second_order learns the speed.",
        "Try the other designs: which bring the error down, and how fast?",
        (
            Knob("separator", NAMES, 2),
            Knob("length of a channel bit", tuple(f"{speed:+d} %" for speed in SPEEDS), 5),
        ),
        results,
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
    shown = tuple(Piece(n, n + 1, "box", f"{ns[n]:.0f}") for n in range(12))
    return Result(
        f"{name}, bits {speed:+d} %: over the last 16 of {PULSES} pulses the error is {last:.0f} ns"
        f" on average, and {wrong} pulses were decoded wrong.",
        (Drawn("error, ns", shown),),
        (last, wrong),
    )
