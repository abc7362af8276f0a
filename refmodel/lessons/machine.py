"""Lessons about what the register is used for: arming a transfer, refusing a copy."""

from __future__ import annotations

from refmodel.ground.bus import WRITE_TRANSFER, BusCycle
from refmodel.lessons.lesson import Choice, Knob, Lesson, Result, Results, Task
from refmodel.lessons.play import CYCLES, PAL, SEED, Ran, arrival, draw, run_bits
from refmodel.media.mfm import word_bits
from refmodel.protect.cases import HOST_SPEEDS, Case
from refmodel.protect.check import KINDS, Check, find_checks
from refmodel.protect.judge import judge
from refmodel.protect.model import disk_of, full_scenario, run_model
from refmodel.protect.text import bounds_words
from refmodel.world.spans import spans_of

WRITES = (
    (0x8004,),
    (0x8004, 0x8004),
    (0x0004, 0x8004),
    (0x8004, 0x0000, 0x8004),
    (0x8004, 0x8004, 0x0000),
)
FIRST, APART = 120, 60
RUNNING = PAL.with_policies({"dma_active_means": "running"})


def arming() -> Lesson:
    """Return the lesson on what arming a transfer is for."""
    results: Results = {}
    for n, writes in enumerate(WRITES):
        for m, needed in enumerate((1, 2, 3)):
            profile = RUNNING.model_copy(update={"arming_writes": needed})
            bus = [
                BusCycle(FIRST + APART * k, WRITE_TRANSFER, value=value)
                for k, value in enumerate(writes)
            ]
            ran = run_bits(word_bits([0x9254] * 4), bus, profile=profile)
            lane = ran.expected.lanes["dma_active"]
            starts = lane.cycle[lane.value == 1].tolist()
            begun = f"starts in cycle {starts[0]}" if starts else "does not start"
            results[n, m] = Result(
                f"{_said(writes)}, where {needed} in a row arm: the transfer {begun}.",
                draw(ran, FIRST - 30, arrival(40), "host", "dma_active"),
                (len(starts),),
            )
    start = frozenset(at for at, result in results.items() if result.numbers[0] and at[0] == 0)
    return Lesson(
        "arming",
        "What arming a transfer is for",
        ("B9", "B6", "B10"),
        (
            "A transfer moves words between disk and memory by itself. Started by a stray write it"
            " would overwrite memory, or the disk.",
            "So one write is not enough: transfer must be written twice in a row with enable, its"
            " top bit, set. A write without enable stops at once and disarms.",
            "Here dma_active shows a running transfer; on other cores it shows the enable bit.",
        ),
        "The host writes 8004, then 0000, then 8004. Two in a row arm. Does the transfer start?",
        (
            Choice(
                "yes, 8004 was written twice",
                "Not in a row. The 0000 between them disarms: the last 8004 begins a new pair.",
            ),
            Choice(
                "no, the two were not in a row",
                "The 0000 between them disarms, and the last 8004 is the first of a new pair.",
            ),
        ),
        1,
        Task(
            "Let a single stray write start the transfer.",
            start,
            "Where one write arms, nothing guards memory and disk against a write gone astray. How"
            " many arm is a number of the profile.",
        ),
        (
            Knob("written to transfer", tuple(_said(writes) for writes in WRITES), 3, False),
            Knob("writes that arm", ("1", "2", "3"), 1, False),
        ),
        results,
        CYCLES,
    )


def _said(writes: tuple[int, ...]) -> str:
    return ", ".join(f"{value:04X}" for value in writes)


CHECKS = ("sync_window", "long_cells", "long_track", "second_read")


def protection() -> Lesson:
    """Return the lesson on an original that is accepted and a copy that is refused."""
    checks = find_checks(list(CHECKS))
    hosts = list(HOST_SPEEDS)
    results: Results = {
        (n, m, k): _judged(check, kind, host)
        for n, check in enumerate(checks)
        for m, kind in enumerate(KINDS)
        for k, host in enumerate(hosts)
    }
    return Lesson(
        "protection",
        "An original accepted, its copy refused",
        (),
        (
            "Some disks carry what a plain drive cannot write: longer cells, more bytes, marks at"
            " odd places. Their loader reads status, measures when bits change, and refuses a disk"
            " that comes out wrong.",
            "The sectors of a copy hold the same data. Only the timing tells. A core whose flags"
            " are a little late makes an original look like a copy.",
        ),
        "A copy has every byte of the original, its marks encoded anew. What does a check that"
        " waits for sync_equal find?",
        (
            Choice(
                "the same marks",
                "The clock bit that a mark lacks comes back when its byte is encoded anew.",
            ),
            Choice(
                "no mark at all",
                "Encoded anew, the mark has its clock bit back and is 44A9, not 4489.",
            ),
        ),
        1,
        Task(
            "Let a check that waits for marks refuse a disk.",
            frozenset((0, 1, k) for k in range(len(hosts))),
            "Of the copy no mark is ever seen, whatever the pace of the host: its bytes are right,"
            " their timing is not.",
        ),
        (
            Knob("check", CHECKS, quantity=False),
            Knob("disk", tuple(KINDS), quantity=False),
            Knob("host", tuple(hosts), hosts.index("normal"), False),
        ),
        results,
        CYCLES,
    )


SEEN = 900  # cycles drawn of a check


def _judged(check: Check, kind: str, host: str) -> Result:
    """Return the verdict of one check on one disk, and the measurement it rests on."""
    scenario = full_scenario(Case(check, kind, SEED, HOST_SPEEDS[host], 0.0), PAL)
    folder = check.path.parent
    found = judge(check.rules, run_model(disk_of(scenario, PAL, folder)), PAL)
    decided = found.deciding
    said = f"{decided.measure} is {decided.value:g} {decided.unit}".rstrip() if decided else ""
    said = said or "the program found nothing to measure before the disk ran out"
    bounds = f" ({bounds_words(decided)})" if decided else ""
    ran = Ran(PAL, next(spans_of(folder, disk_of(scenario, PAL, folder))))
    lane = ran.expected.lanes["sync_equal"]
    rises = lane.cycle[lane.value == 1].tolist()
    about = next(iter((*rises, *ran.reads)), ran.expected.first)
    first = max(ran.expected.first, about - SEEN // 3)
    return Result(
        f"{check.about.rstrip('.')}. On the {kind}, with a {host} host, {said}{bounds}:"
        f" {found.verdict}.",
        draw(ran, first, first + SEEN, "sync_equal", "byte_ready", "data", "host"),
        (int(found.verdict == "accept"),),
    )
