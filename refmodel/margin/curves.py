"""The curves of a separator: error rates over jitter, the bathtub, and how it locks."""

from __future__ import annotations

import numpy as np

from refmodel.margin.limits import LONG_LOCK, failures_at, offsets
from refmodel.margin.pattern import Condition, TrialClock, data_pattern, pulses_of
from refmodel.margin.result import LOCK_AT_PERCENT, Bathtub, LockTrace, MapPoint
from refmodel.margin.subject import Model, Subject
from refmodel.media.seeded import seed_of
from refmodel.separator.measure import tally

BLOCK_BYTES = 900  # of data: some 5 000 pulses
BLOCKS = 6
ENOUGH_ERRORS = 60  # a rate known to about a quarter: no need of more blocks
BATHTUB_BYTES = 1500
BATHTUB_BLOCKS = 4
PROBE_EVERY = 16


def map_column(
    subject: Subject,
    clock: TrialClock,
    seed: int,
    speed_percent: float,
    pw50_ns: float,
    jitters_ns: tuple[float, ...],
) -> list[MapPoint]:
    """Return the error map's points of one speed and pulse width, over jitter.

    A point stops early, once it has seen `ENOUGH_ERRORS`. The same point gives every separator
    the same pulses.
    """
    return [
        _map_point(subject, clock, seed, Condition(speed_percent, jitter, pw50_ns))
        for jitter in jitters_ns
    ]


def _map_point(subject: Subject, clock: TrialClock, seed: int, condition: Condition) -> MapPoint:
    """Try block after block of data until enough errors are seen."""
    pattern = data_pattern(clock.bit_ns, BLOCK_BYTES, seed, condition.pw50_ns)
    first = pattern.first_data_pulse
    pulses = errors = slips = 0
    for block in range(BLOCKS):
        trial = pulses_of(pattern, clock, condition, seed_of(seed, condition, block))
        found = tally(offsets(subject, trial)[first:])
        pulses, errors, slips = pulses + found.pulses, errors + found.errors, slips + found.slips
        if errors >= ENOUGH_ERRORS:
            break
    place = (condition.speed_percent, condition.jitter_ns, condition.pw50_ns)
    return MapPoint(*place, pattern.shift_ns, pulses, errors, slips)


def bathtub(
    subject: Subject, clock: TrialClock, seed: int, jitter_ns: float, points: int
) -> Bathtub:
    """Return how often transitions shifted by up to 1.25 half windows are decoded wrong."""
    pattern = data_pattern(clock.bit_ns, BATHTUB_BYTES, seed, zeros=LONG_LOCK)
    probes = pattern.probes(PROBE_EVERY)
    shifts = np.linspace(-1.25, 1.25, points) * clock.half_window_ns
    failures = [
        sum(
            int(
                failures_at(
                    subject,
                    clock,
                    pattern,
                    Condition(jitter_ns=jitter_ns),
                    seed_of(seed, "bathtub", block),
                    probes,
                    shift,
                ).sum()
            )
            for block in range(BATHTUB_BLOCKS)
        )
        for shift in shifts.tolist()
    ]
    count = BATHTUB_BLOCKS * len(probes)
    return Bathtub(jitter_ns, tuple(shifts.tolist()), count, tuple(failures))


def lock_trace(model: Model, clock: TrialClock, seed: int) -> LockTrace:
    """Return how a model locks to a preamble 3 % fast, a quarter bit late, after a gap 3 % slow."""
    pattern = data_pattern(clock.bit_ns, 40, seed, zeros=96)
    condition = Condition(LOCK_AT_PERCENT, 0, 0, 0.25, -LOCK_AT_PERCENT)
    pulses = pulses_of(pattern, clock, condition, 0)
    followed = model.follow(pulses.cycle)
    splice = int(np.searchsorted(pulses.bit, pattern.preamble_bit))
    unit = float(clock.cycle_ns) / (1 << model.make().fraction_bits)
    shown = slice(max(0, splice - 20), None)
    start = pulses.cycle[splice] * float(clock.cycle_ns)
    right = clock.bit_ns / (1 + LOCK_AT_PERCENT / 100)
    return LockTrace(
        tuple((pulses.cycle[shown] * float(clock.cycle_ns) - start).tolist()),
        tuple((followed.phase[shown] * unit).tolist()),
        tuple(((followed.period[shown] * unit / right - 1) * 100).tolist()),
    )
