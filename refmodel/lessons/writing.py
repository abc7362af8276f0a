"""Lessons about what goes out: words written to the disk, and the lines of a drive."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np

from refmodel.block.control import PRECOMPENSATION, SET
from refmodel.block.slots import Slots
from refmodel.drive.bus import DriveBus
from refmodel.drive.profile import load_drive_profile
from refmodel.ground.bus import WRITE_CONTROL, WRITE_TRANSFER, BusCycle
from refmodel.ground.lane import Lane
from refmodel.ground.numbers import counted
from refmodel.lessons.lesson import Choice, Knob, Lesson, Result, Results, Task, Unit
from refmodel.lessons.play import CYCLES, PAL, beside, draw, run_bits
from refmodel.media.mfm import word_bits
from refmodel.report.drawing.sheet import Drawn, Piece, flag_pieces

WORDS = (0x4489, 0xA92A, 0x5554)
LINES = {"plenty": (40, 191, 342), "one a line": (40,), "one in two lines": (40,)}
AMOUNTS = (0, 1, 2, 4)
WHOLE, CUT = "after the last bit", "3 bits too soon"


def writing() -> Lesson:
    """Return the lesson on words that are written to the disk."""
    results: Results = {}
    for n, pace in enumerate(LINES):
        for m, select in enumerate(range(len(AMOUNTS))):
            for k, tail in enumerate((WHOLE, CUT)):
                results[n, m, k] = _written(pace, select, tail)
    starved = frozenset(at for at, result in results.items() if result.numbers[0])
    return Lesson(
        "writing",
        "Writing: words out, bit by bit",
        ("B11", "B7", "B15"),
        (
            "A write transfer fetches words from memory in the slots it is granted, keeps up to"
            " three of them in a FIFO, and sends each bit out, top bit first: a pulse on write_data"
            " for a 1, while write_gate is open.",
            "Pulses close to each other are pushed apart when they are read. Precompensation"
            " writes some a little early or late against that.",
            "Writing to a real disk destroys what is on it: try scrap disks first, and keep the"
            " write-protect path in hardware.",
        ),
        "Memory is too slow, and the FIFO is empty when the next word is due. What is written?",
        (
            Choice("nothing: the gate closes", "The gate stays open until the transfer is over."),
            Choice(
                "zeros, and it is counted",
                "A word of zeros goes out, no pulses at all, and the underrun is counted. The"
                " sector on the disk is spoilt there.",
            ),
            Choice("the last word again", "The word has left; nothing holds it any more."),
        ),
        1,
        Task(
            "Starve the FIFO: make at least one underrun.",
            starved,
            "A word of 16 bits leaves every 224 cycles. Slots that come less often than that"
            " cannot keep up, however deep the FIFO is.",
        ),
        (
            Knob("memory slots", tuple(LINES), quantity=False),
            Knob("precompensation, cycles", tuple(map(str, AMOUNTS))),
            Knob("the core closes write_gate", (WHOLE, CUT), quantity=False),
        ),
        results,
        CYCLES,
    )


def _written(pace: str, select: int, tail: str) -> Result:
    length = 908 if pace == "one in two lines" else 454
    profile = PAL.model_copy(update={"slots": Slots(line_cycles=length, at=LINES[pace])})
    value = 0x8000 | 0x4000 | len(WORDS)
    bus = [BusCycle(10, WRITE_CONTROL, value=SET | select << PRECOMPENSATION.lsb)]
    bus += [BusCycle(edge, WRITE_TRANSFER, value=value) for edge in (20, 26)]
    memory = np.array([*WORDS, *[0] * 61], np.uint16)
    end = 4000 // 16
    ran = run_bits(word_bits([0xAAAA] * (end // 16)), bus, profile=profile, memory=memory)
    lines, last = ran.expected.lines, ran.expected.end
    underruns = int(lines["underruns"].value[-1])
    gate = lines["write_gate"]
    opens, closes = int(gate.cycle[gate.value == 1][0]), int(gate.cycle[-1])
    moves = tuple(
        Piece(cycle, cycle + 1, "mark", f"{word:04X}")
        for cycle, word in zip(
            ran.expected.moves.cycle.tolist(), ran.expected.moves.word.tolist(), strict=True
        )
    )
    stop = min(closes + 60, last)
    drawn = (
        Drawn("from memory", moves),
        Drawn("write_gate", flag_pieces(gate, 0, stop)),
        Drawn("write_data", _pulses(lines["write_data"], opens, stop)),
        *draw(ran, 0, stop, "dma_active"),
    )
    spoilt = ""
    if tail == CUT:
        early = Lane.of(np.where(gate.cycle == closes, closes - 42, gate.cycle), gate.value)
        drawn = beside(drawn, "write_gate", gate, early)
        spoilt = " This core cuts the last three bits off: B11 is broken."
    moved = AMOUNTS[select]
    return Result(
        f"{len(WORDS)} words, slots {pace}, precompensation {moved} cycles: the gate is open from"
        f" cycle {opens} to {closes}, with {counted(underruns, 'underrun')}.{spoilt}",
        drawn,
        (underruns, closes - opens),
    )


def _pulses(lane: Lane, first: int, end: int) -> tuple[Piece, ...]:
    """Return the pulses of write_data as marks."""
    up = lane.cycle[lane.value == 1]
    return tuple(Piece(c, c + 1, "mark") for c in up.tolist() if first <= c < end)


STEP_MS = (1, 2, 3, 4, 6)
WAIT_MS = (0, 5, 10, 15, 18, 25)
STEPS, FIRST_MS = 5, 600
MS = Unit("ms", None)


def drive_lines() -> Lesson:
    """Return the lesson on stepping a drive and letting its head settle."""
    results: Results = {
        (n, m): _stepped(apart, wait)
        for n, apart in enumerate(STEP_MS)
        for m, wait in enumerate(WAIT_MS)
    }
    clean = {at: result for at, result in results.items() if not result.numbers[1]}
    soonest = min(clean, key=lambda at: (STEPS - 1) * STEP_MS[at[0]] + WAIT_MS[at[1]])
    return Lesson(
        "drive_lines",
        "The lines of a drive: step, settle, write",
        (),
        (
            "A drive does what its lines say only if they are given time: the motor to come up to"
            " speed, each step to move the head by a cylinder, the head to stand still before it"
            " reads or writes.",
            "This one, a drive of 90 mm, wants 3 ms from step to step and 18 ms from the last step"
            " to a write.",
            "Many drives signal at 5 V with pull-ups, many FPGA pins take 3.3 V at most: follow"
            " both data sheets.",
        ),
        f"The core makes {STEPS} step pulses, 2 ms apart. On which cylinder does the head end?",
        (
            Choice(f"{STEPS}", "A pulse that comes while the head still moves has no effect."),
            Choice(
                f"{results[1, 5].numbers[0]:g}",
                "Every second pulse comes too early and is lost. Nothing tells the core: it"
                " thinks the head is elsewhere, and reads or writes the wrong track.",
            ),
            Choice("0", "The first pulse comes with the head at rest: it moves."),
        ),
        1,
        Task(
            "Step five cylinders and write as soon as you can without breaking a rule.",
            frozenset({soonest}),
            "3 ms a step, and 18 ms for the head to settle. Slower is safe as well; anything faster"
            " loses steps, or writes while the head still moves.",
        ),
        (
            Knob("ms from step to step", tuple(map(str, STEP_MS)), 1),
            Knob("ms from the last step to the write", tuple(map(str, WAIT_MS)), 5),
        ),
        results,
        MS,
    )


def _stepped(apart: int, wait: int) -> Result:
    """Return what a drive makes of steps and a write; its clock ticks in microseconds."""
    bus = DriveBus.of({0: load_drive_profile("mm90")}, Fraction(1_000_000))
    for line in ("motor", "select_0", "direction"):
        bus.put(0, line, 1)
    times = [1000 * (FIRST_MS + n * apart) for n in range(STEPS)]
    tracks = [(FIRST_MS - 4.0, 0)]
    for at in times:
        bus.put(at, "step", 1)
        bus.put(at + 5, "step", 0)
        tracks.append((at / 1000, bus.drives[0].cylinder))
    gate = times[-1] + 1000 * wait + 10
    bus.put(gate, "write_gate", 1)
    for cycle in range(gate + 8, gate + 2000, 8):
        bus.put(cycle, "write_data", 1)
        bus.put(cycle + 1, "write_data", 0)
    bus.put(gate + 2000, "write_gate", 0)
    bus.finish(gate + 4000)
    cylinder, broken = bus.drives[0].cylinder, sorted({v.rule for v in bus.violations})
    said = f"broken: {', '.join(broken)}" if broken else "no rule is broken"
    return Result(
        f"Steps {apart} ms apart, write {wait} ms after the last: the head is on cylinder"
        f" {cylinder}; {said}.",
        _drawn_lines(times, tracks, gate, bus),
        (cylinder, len(broken)),
    )


def _drawn_lines(
    times: list[int], tracks: list[tuple[float, int]], gate: int, bus: DriveBus
) -> tuple[Drawn, ...]:
    first, end = FIRST_MS - 4.0, gate / 1000 + 4
    stops = [at for at, _ in tracks[1:]] + [end]
    places = tuple(
        Piece(at, stop, "box", str(track)) for (at, track), stop in zip(tracks, stops, strict=True)
    )
    rules = tuple(
        Piece(v.cycle / 1000, v.cycle / 1000 + 0.1, "mark", v.rule) for v in bus.violations
    )
    gates = ((first, "off"), (gate / 1000, "on"), (gate / 1000 + 2, "off"), (end, ""))
    open_at = tuple(Piece(at, stop, kind) for (at, kind), (stop, _) in pairwise(gates))
    steps = tuple(Piece(at / 1000, at / 1000 + 0.1, "mark") for at in times)
    return (
        Drawn("step", steps),
        Drawn("cylinder", places),
        Drawn("write_gate", open_at),
        Drawn("rule broken", rules),
    )
