"""A capture held to the model: what status should have read at every recorded cycle and access."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from itertools import chain

from refmodel.block.fields import STATUS_FIELDS, STATUS_WIDTH, UNUSED
from refmodel.block.registers import State
from refmodel.capture.capture_map import CaptureMap
from refmodel.capture.knowledge import Knowledge, begin_state
from refmodel.capture.opened import Evidence
from refmodel.capture.recorded_run import RecordedEvidence, RunSpan
from refmodel.engine.compare import Compared
from refmodel.engine.comparison import ComparedRun, Comparison
from refmodel.engine.finding import Finding, Shown
from refmodel.ground.numbers import counted
from refmodel.profile import Profile

PHASES = 8  # what the byte count can be where a capture begins
PHASE_BITS = 4096  # channel bits from which it is found


@dataclass
class Checked:
    """What a check found: the first mismatch, and how far the capture could decide.

    `decided` and `total` count cycles, reads and bits of fields; `reasons` say why the rest was not
    decided. `unsure` says that sampling left the cycle of a change open.
    """

    finding: Finding | None = None
    shown: Shown | None = None
    fields: dict[str, Compared] = field(default_factory=dict)
    cycles: int = 0
    reads: int = 0
    cycles_total: int = 0
    reads_total: int = 0
    bits: int = 0
    bits_total: int = 0
    reasons: list[str] = field(default_factory=list)
    unsure: int = 0
    runs: int = 0
    channel_bits: int = 0
    accesses: int = 0  # beside reads of status


@dataclass
class _Counted:
    """Spans on their way to the comparison, counted."""

    spans: Iterable[RunSpan]
    cycles: int = 0
    reads: int = 0
    reads_decided: int = 0
    channel_bits: int = 0
    accesses: int = 0

    def __iter__(self) -> Iterator[RunSpan]:
        for span in self.spans:
            self.cycles += span.stimulus.cycles
            self.reads += len(span.reads.cycle)
            self.channel_bits += len(span.stimulus.bit_cycle)
            self.accesses += len(span.stimulus.access_cycle) - len(span.reads.cycle)
            decided = span.reads.decided
            self.reads_decided += int((decided != 0).sum())
            yield span


def check(opened: Evidence, policies: dict[str, str] | None = None) -> Checked:
    """Hold a capture to the model of its map's profile; `policies` change the profile's."""
    profile = opened.profile.with_policies(policies or {})
    checked = check_spans(opened.map, profile, opened.spans())
    checked.reasons = [*merged(checked.reasons), *opened.reasons()]
    checked.unsure = opened.unsure
    if checked.finding is not None:
        time_ns = opened.time_of(checked.finding.mismatch.cycle)
        if time_ns is not None:
            checked.finding = replace(checked.finding, time_ns=time_ns)
    return checked


def merged(reasons: Iterable[str]) -> list[str]:
    """Return reasons, each once with the cycles of all runs together."""
    cycles: dict[str, int] = {}
    for reason in reasons:
        count, _, why = reason.partition(" cycles: ")
        cycles[why] = cycles.get(why, 0) + int(count)
    return [f"{counted(count, 'cycle')}: {why}" for why, count in cycles.items()]


def check_spans(given: CaptureMap, profile: Profile, spans: Iterable[RunSpan]) -> Checked:
    """Hold the spans of a capture to a profile's model, run by run, up to a mismatch."""
    checked = Checked()
    for run in runs_of(spans):
        _check_run(given, profile, run, checked)
        if checked.finding is not None:
            break
    return checked


def runs_of(spans: Iterable[RunSpan]) -> Iterator[Iterator[RunSpan]]:
    """Yield each run's spans; a run must be used up before the next is asked for."""
    waiting = iter(spans)
    following: list[RunSpan] = []

    def one(first: RunSpan) -> Iterator[RunSpan]:
        yield first
        for span in waiting:
            if span.fresh:
                following.append(span)
                return
            yield span

    first = next(waiting, None)
    while first is not None:
        following.clear()
        run = one(first)
        yield run
        for _ in run:
            pass
        first = following[0] if following else None


def _check_run(
    given: CaptureMap, profile: Profile, run: Iterator[RunSpan], checked: Checked
) -> None:
    """Compare one run, and add what was found."""
    knowledge = Knowledge(given, profile.status)
    spans = knowledge.marked(run)
    head, begin = begun(given, profile, spans)
    if not head:
        return
    counted = _Counted(chain(head, spans))
    found = _compared(given, profile, counted, begin, head[0].stimulus.first)
    checked.runs += 1
    checked.finding = found.finding
    if checked.shown is None or found.finding is not None:
        checked.shown = found.shown
    checked.cycles += found.cycles
    checked.cycles_total += counted.cycles
    checked.reads += counted.reads_decided
    checked.reads_total += counted.reads
    checked.channel_bits += counted.channel_bits
    checked.accesses += counted.accesses
    checked.reasons += knowledge.reasons()
    for name, one in found.fields.items():
        checked.fields[name] = checked.fields.get(name, Compared()) + one
        width = _width(profile, name)
        checked.bits += width * one.cycles
        if one.cycles or name in (found.shown.observed.lanes if found.shown else ()):
            checked.bits_total += width * counted.cycles


def _width(profile: Profile, name: str) -> int:
    """Return how many bits a field or line has."""
    if name == UNUSED:
        return STATUS_WIDTH - sum(f.width for f in profile.status.fields)
    return next((f.width for f in STATUS_FIELDS if f.name == name), 1)


def begun(
    given: CaptureMap, profile: Profile, spans: Iterator[RunSpan]
) -> tuple[list[RunSpan], State]:
    """Return the first spans of a run, and the state it begins in: the byte count that fits best.

    Of counts that fit alike the lowest is taken.
    """
    head: list[RunSpan] = []
    bits = 0
    for span in spans:
        head.append(span)
        bits += len(span.stimulus.bit_cycle)
        if bits >= PHASE_BITS:
            break
    first = head[0].stimulus if head else None
    if first is not None and first.resets and first.resets[0][0] == first.first:
        return head, begin_state(given, profile, 0)
    best, furthest = 0, -1
    for count in range(PHASES if head else 0):
        state = begin_state(given, profile, count)
        found = _compared(given, profile, head, state, head[0].stimulus.first).finding
        if found is None:
            return head, state
        if found.mismatch.cycle > furthest:
            best, furthest = count, found.mismatch.cycle
    return head, begin_state(given, profile, best)


def _compared(
    given: CaptureMap, profile: Profile, spans: Iterable[RunSpan], begin: State, first: int
) -> ComparedRun:
    """Compare spans from a state on."""
    held = replace(given.held(), start=first)
    evidence = RecordedEvidence(iter(spans))
    return Comparison(profile, held, begin=begin).run(evidence.stimuli(), evidence)
