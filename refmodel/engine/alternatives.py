"""What is commonly wrong in a binding, tried on the span of a mismatch.

No simulator runs again. What the core showed stays; what the model is given changes to what the
core got if the binding is wrong in this way.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import get_args

import numpy as np

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.block.registers import RegisterBlock
from refmodel.block.settings import Policies
from refmodel.engine.bus_alternatives import (
    Decoding,
    bus_readings,
    other_addresses,
    shows_the_word_bound,
    without_writes,
)
from refmodel.engine.compare import CHANNEL_BIT, MEMORY, SpanChecker
from refmodel.engine.evidence import ALL_BITS
from refmodel.engine.finding import Finding, Shown, Tried
from refmodel.engine.more_alternatives import (
    bus_trials,
    clearing_byte,
    depths,
    exchanged_lines,
    swapped_levels,
    turned_lane,
)
from refmodel.engine.timeline import Timeline
from refmodel.engine.trial import Trial
from refmodel.ground.lane import Lane
from refmodel.ground.numbers import counted
from refmodel.ground.stimulus import LEVEL_INPUTS
from refmodel.profile import Profile

LATEST = 3  # cycles that a latency is tried longer than the binding's
OF_TRANSFERS = ("dma_active", "writing", "write_gate", "write_data", "transfer_done", MEMORY)
GATES = ("master_enable", "channel_enable")


def tried(
    finding: Finding,
    profile: Profile,
    lags: Mapping[str, int],
    decoding: Decoding | None = None,
) -> tuple[Tried, ...]:
    """Return every change that was tried on the span of a mismatch.

    `lags` has the compared fields and lines and the latency the binding allows each, `decoding`
    where the registers are. Changes of what goes into the core are tried in a
    run's first span only: before a later one the core has already met them. Nothing is tried on
    what a core's own separator delivers: none of this changes it.
    """
    shown = finding.shown
    if finding.mismatch.field not in {*lags, MEMORY} - {CHANNEL_BIT}:
        return ()
    if shown.slots is not None:
        profile = profile.model_copy(update={"slots": shown.slots})
    known = {name: lag for name, lag in lags.items() if name in _comparable(shown)}
    plain = Trial(
        "", shown.stimulus, profile, known, shown.reads, shown.compared_from, shown.observed
    )
    trials = _trials(plain, finding, shown, decoding or Decoding())
    return tuple(
        Tried(trial.change, not shows_the_word_bound(trial, shown) and _agrees(trial, shown))
        for trial in trials
    )


def _comparable(shown: Shown) -> set[str]:
    return set(shown.expected.lanes) | set(shown.expected.lines)


def _agrees(trial: Trial, shown: Shown) -> bool:
    """Return whether the span agrees with what is tried."""
    timeline = Timeline(trial.profile, trial.lags)
    timeline.state = shown.state
    if shown.stimulus.first == 0:
        timeline.state = RegisterBlock(trial.profile).state
    try:
        expected = timeline.run(trial.stimulus)
    except Exception:
        return False
    fields = {name: lag for name, lag in trial.lags.items() if name in expected.lanes}
    lines = {name: lag for name, lag in trial.lags.items() if name in expected.lines}
    checker = SpanChecker(trial.profile.status, fields, trial.start, lines=lines)
    moved = None if shown.moves is None else (shown.moves, np.zeros(len(shown.moves), np.int64))
    begins = trial.stimulus.reset_begins
    found = checker.check(expected, trial.observed, trial.reads, moved, begins)
    return found is None and bool(checker.cycles_compared or checker.reads_compared)


def _trials(plain: Trial, finding: Finding, shown: Shown, decoding: Decoding) -> Iterator[Trial]:
    yield from _latencies(plain, finding)
    yield from _read_latencies(plain, finding, shown, decoding.read_latency)
    yield from _policies(plain)
    yield from turned_lane(plain, finding)
    yield from exchanged_lines(plain, finding)
    if shown.stimulus.first == 0:
        if finding.mismatch.field in OF_TRANSFERS:
            yield from _numbers(plain)
        if CHANNEL_BIT not in shown.observed.lanes:
            yield from _disk_ports(plain, shown.value_line)
        yield from _levels(plain)
        yield from swapped_levels(plain)
        yield from _resets(plain)
        yield from clearing_byte(plain)
        yield from depths(plain)
        yield from bus_trials(plain)
        yield from bus_readings(plain, decoding)
        yield from other_addresses(plain, decoding)
        if finding.mismatch.through != "read":  # which it would leave open
            yield from without_writes(plain, decoding)


def _latencies(plain: Trial, finding: Finding) -> Iterator[Trial]:
    """Yield other latencies of the mismatching field, and of all of status together."""
    field = finding.mismatch.field
    if field not in plain.lags:
        return
    now = plain.lags[field]
    for lag in range(max(0, now - LATEST), now + LATEST + 1):
        if lag != now:
            yield replace(
                plain, change=f"latency: {{{field}: {lag}}}", lags={**plain.lags, field: lag}
            )
    if field in FIELD_NAMES:
        for lag in range(max(0, now - 1), now + 2):
            if lag != now:
                status = {n: lag for n in plain.lags if n in (*FIELD_NAMES, UNUSED)}
                every = {**plain.lags, **status}
                yield replace(plain, change=f"latency: {{status: {lag}}}", lags=every)


def _read_latencies(
    plain: Trial, finding: Finding, shown: Shown, read_latency: int
) -> Iterator[Trial]:
    """Yield reads whose values come a cycle or two sooner or later than the binding says."""
    if finding.mismatch.through != "read":
        return
    reads = shown.reads
    for shift in (1, 2):
        sooner = replace(reads, cycle=reads.cycle + shift)
        change = f"bus.read_latency: {shift} less"
        if shift > read_latency:
            late = counted(shift, "cycle")
            change = f"reads that return status {late} before the observed signal shows it"
        yield replace(plain, change=change, reads=sooner)
    if len(reads.cycle) > 1:  # a register still shows what the read before put there
        later = replace(
            reads,
            cycle=reads.cycle[:-1],
            mask=reads.mask[:-1],
            value=reads.value[1:],
            unknown=reads.unknown[1:],
            undecided=None if reads.undecided is None else reads.undecided[1:],
        )
        yield replace(plain, change="bus.read_latency: 1 more", reads=later)


def _policies(plain: Trial) -> Iterator[Trial]:
    for name, info in Policies.model_fields.items():
        for choice in get_args(info.annotation):
            if choice != getattr(plain.profile.policies, name):
                other = plain.profile.with_policies({name: str(choice)})
                yield replace(plain, change=f"policy {name}={choice}", profile=other)


def _numbers(plain: Trial) -> Iterator[Trial]:
    """Yield a profile whose FIFO, or the writes that arm a transfer, are one more or one less."""
    for name in ("fifo_words", "arming_writes"):
        now = getattr(plain.profile, name)
        for number in (now - 1, now + 1):
            if number:
                other = plain.profile.model_copy(update={name: number})
                yield replace(plain, change=f"profile {name}: {number}", profile=other)


def _disk_ports(plain: Trial, line: Lane | None) -> Iterator[Trial]:
    """Yield the channel bits a core gets when strobe and value are bound wrongly."""
    stimulus = plain.stimulus
    inverted = stimulus.with_bits(stimulus.bit_cycle, 1 - stimulus.bit)
    yield replace(plain, change="disk.value active the other way", stimulus=inverted)
    if line is None:
        return
    every = np.arange(stimulus.first, stimulus.end, dtype=np.int64)
    value = line.at(every).astype(np.uint8)
    strobe = np.isin(every, stimulus.bit_cycle, assume_unique=True)
    ones = value == 1
    swapped = stimulus.with_bits(every[ones], strobe[ones].astype(np.uint8))
    yield replace(plain, change="disk.strobe and disk.value the other way round", stimulus=swapped)
    between = stimulus.with_bits(every[~strobe], value[~strobe])
    yield replace(plain, change="disk.strobe active the other way", stimulus=between)


def _levels(plain: Trial) -> Iterator[Trial]:
    """Yield the levels a core gets when one is bound with the wrong polarity."""
    stimulus = plain.stimulus
    for name, unbound in LEVEL_INPUTS.items():
        lane = stimulus.levels.get(name, Lane.constant(unbound, stimulus.first))
        if name in GATES and name not in stimulus.levels:
            continue
        turned = Lane(lane.cycle, 1 - lane.value)
        key = f"gates.{name}" if name in GATES else f"inputs.{name}"
        levels = {**stimulus.levels, name: turned}
        yield replace(
            plain,
            change=f"{key} active the other way",
            stimulus=replace(stimulus, levels=levels),
        )


def _resets(plain: Trial) -> Iterator[Trial]:
    """Yield what a core gets that is in reset when it should not be.

    What it does in the short times out of reset is not compared, nor what reads return there.
    """
    stimulus = plain.stimulus
    if not stimulus.resets or stimulus.resets[0][0] != stimulus.first:
        return
    stop = stimulus.resets[0][1]
    if stop >= stimulus.end:
        return
    turned = replace(stimulus, resets=((stop, stimulus.end),), reset_before=0)
    spans = [(a - 1, b + 1 + max(plain.lags.values(), default=0)) for a, b in stimulus.resets[1:]]
    free = Lane.of(
        np.array([stimulus.first, *(at for span in spans for at in span)], np.int64),
        np.array([0, *[ALL_BITS, 0] * len(spans)], np.uint32),
    )
    observed = replace(plain.observed, undecided=dict.fromkeys(plain.observed.lanes, free))
    reads = plain.reads
    outside = np.flatnonzero(free.at(np.maximum(reads.cycle - 1, stimulus.first)) == 0)
    yield replace(
        plain,
        change="reset.active the other way",
        stimulus=turned,
        start=plain.start + 1,
        observed=observed,
        reads=reads.part(outside),
    )
