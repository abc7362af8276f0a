"""The limits of a separator: how far each defect can go before something is decoded wrong.

Each is found by halving: it holds if a defect that is too much stays too much when it grows.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from refmodel.ground.lane import Cycles
from refmodel.ground.pulses import NO_BIT, Pulses
from refmodel.margin.pattern import (
    Condition,
    Pattern,
    TrialClock,
    data_pattern,
    pulses_across_gap,
    pulses_of,
)
from refmodel.margin.subject import Subject
from refmodel.media.flux_defects import NoFlux
from refmodel.media.seeded import seed_of, uniform
from refmodel.separator.measure import last_error, probe_failures, tally

PROBE_EVERY = 24  # pulses: a disturbed loop has settled before the next one
LONG_LOCK = 512  # zeros of preamble where the lock itself is not the question
SPLICES = tuple(n / 8 for n in range(8))  # phases at which a preamble may begin, in channel bits
FASTEST_PERCENT = 25.0
LONGEST_DROPOUT_BITS = 4096
DYNAMIC = 11  # stream of random numbers beside those of the flux


@dataclass(frozen=True)
class WindowMargin:
    """The largest shift of a single transition that is decoded right, in ns; None: not even 0."""

    speed_percent: float
    early_ns: float | None
    late_ns: float | None

    @property
    def least_ns(self) -> float | None:
        """The smaller of both sides."""
        if self.early_ns is None or self.late_ns is None:
            return None
        return min(self.early_ns, self.late_ns)

    @property
    def bias_ns(self) -> float | None:
        """How late of its window's centre an unshifted pulse lies: half the sides' difference."""
        if self.early_ns is None or self.late_ns is None:
            return None
        return (self.early_ns - self.late_ns) / 2


def offsets(subject: Subject, pulses: Pulses) -> Cycles:
    """Return the offset of each pulse that is a channel bit; see `measure`."""
    window = subject.windows(pulses.cycle)
    true = pulses.bit != NO_BIT
    return np.asarray(window[true] - pulses.bit[true], np.int64)


def largest(is_right: Callable[[float], bool], limit: float, rounds: int) -> float | None:
    """Return the largest value up to `limit` that is right, to limit / 2^rounds; None: not 0."""
    if not is_right(0.0):
        return None
    if is_right(limit):
        return limit
    right, wrong = 0.0, limit
    for _ in range(rounds):
        middle = (right + wrong) / 2
        right, wrong = (middle, wrong) if is_right(middle) else (right, middle)
    return right


def window_margin(
    subject: Subject, clock: TrialClock, seed: int, condition: Condition, rounds: int = 9
) -> WindowMargin:
    """Return how far single transitions of random data can be shifted, each way.

    Every 24th pulse is shifted at once; none may be decoded wrong.
    """
    pattern = data_pattern(clock.bit_ns, 1500, seed, condition.pw50_ns, LONG_LOCK)
    probes = pattern.probes(PROBE_EVERY)

    def is_right(shift_ns: float) -> bool:
        return not failures_at(subject, clock, pattern, condition, seed, probes, shift_ns).any()

    limit = 1.25 * clock.half_window_ns
    early = largest(lambda shift: is_right(-shift), limit, rounds)
    late = largest(is_right, limit, rounds)
    return WindowMargin(condition.speed_percent, early, late)


@dataclass(frozen=True)
class DynamicMargin:
    """The largest shift up to which every pulse may be off at random, in ns; None: not even 0."""

    speed_percent: float
    shift_ns: float | None


def dynamic_margin(
    subject: Subject, clock: TrialClock, seed: int, condition: Condition, rounds: int = 9
) -> DynamicMargin:
    """Return up to which shift all pulses of random data can be off at once, evenly either way.

    This is what data sheets call window margin; 60 to 70 % of half a channel bit is usual (from
    memory, common practice). `window_margin` shifts single pulses and leaves the others where they
    are, so that a separator starts each time from a perfect phase.
    """
    pattern = data_pattern(clock.bit_ns, 1500, seed, condition.pw50_ns, LONG_LOCK)
    first = pattern.first_data_pulse
    moved = 2 * uniform(len(pattern.written.bit), seed, DYNAMIC) - 1
    moved[:first] = 0

    def is_right(shift_ns: float) -> bool:
        pulses = pulses_of(pattern, clock, condition, seed, moved * shift_ns)
        return tally(offsets(subject, pulses)[first:]).errors == 0

    found = largest(is_right, 1.25 * clock.half_window_ns, rounds)
    return DynamicMargin(condition.speed_percent, found)


def failures_at(
    subject: Subject,
    clock: TrialClock,
    pattern: Pattern,
    condition: Condition,
    seed: int,
    probes: Cycles,
    shift_ns: float,
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Return which probes are decoded wrong when all are `shift_ns` late."""
    moved = np.zeros(len(pattern.written.bit))
    moved[probes] = shift_ns
    offset = offsets(subject, pulses_of(pattern, clock, condition, seed, moved))
    return probe_failures(offset, probes)


def data_right(subject: Subject, clock: TrialClock, pattern: Pattern, condition: Condition) -> bool:
    """Tell whether every pulse of the data is decoded right, at any phase of the preamble."""
    first = pattern.first_data_pulse
    trials = (replace(condition, splice=splice) for splice in SPLICES)
    return all(
        tally(offsets(subject, pulses_of(pattern, clock, trial, 0))[first:]).errors == 0
        for trial in trials
    )


def speed_tolerance(
    subject: Subject, clock: TrialClock, seed: int, sign: int, condition: Condition
) -> float | None:
    """Return the largest speed error of that sign, in percent, at which data is all right."""
    pattern = data_pattern(clock.bit_ns, 400, seed, condition.pw50_ns)

    def is_right(percent: float) -> bool:
        trial = replace(condition, speed_percent=sign * percent)
        return data_right(subject, clock, pattern, trial)

    return largest(is_right, FASTEST_PERCENT, 8)


def lock_ns(subject: Subject, clock: TrialClock, seed: int, speed_percent: float) -> float | None:
    """Return the shortest preamble after which a transition may be shifted by a quarter bit.

    What stands before it was written at the opposite speed error and any phase, and the shift is
    either way. In ns at nominal speed; None when even 512 zeros are not enough.
    """

    def locks(zeros: int) -> bool:
        pattern = data_pattern(clock.bit_ns, 40, seed, zeros=zeros)
        return all(
            _takes_shift(subject, clock, pattern, Condition(speed, 0, 0, splice, -speed), shift)
            for speed in (speed_percent, -speed_percent)
            for splice in SPLICES
            for shift in (clock.bit_ns / 4, -clock.bit_ns / 4)
        )

    if not locks(LONG_LOCK):
        return None
    short, enough = -1, LONG_LOCK
    while enough - short > 1:
        middle = (short + enough) // 2
        short, enough = (short, middle) if locks(middle) else (middle, enough)
    return enough * 2 * clock.bit_ns


def _takes_shift(
    subject: Subject, clock: TrialClock, pattern: Pattern, condition: Condition, shift_ns: float
) -> bool:
    """Tell whether data is right although its second transition is shifted."""
    first = pattern.first_data_pulse
    moved = np.zeros(len(pattern.written.bit))
    moved[first + 1] = shift_ns
    offset = offsets(subject, pulses_of(pattern, clock, condition, 0, moved))
    return len(set(offset[first:].tolist())) == 1


def relock_ns(subject: Subject, clock: TrialClock, seed: int, speed_percent: float) -> float | None:
    """Return how long after 500 channel bits without flux something may still be decoded wrong.

    There is noise in the gap, and no preamble behind it. The worst of 8 gaps at that speed error,
    either way; None when data is still wrong 1000 channel bits on.
    """
    pattern = data_pattern(clock.bit_ns, 600, seed, zeros=LONG_LOCK)
    worst = 0.0
    for speed in (speed_percent, -speed_percent):
        for n in range(8):
            start = pattern.data_bit + 2000 + 250 * n
            region = NoFlux(
                first_bit=start,
                bits=500,
                quiet_ns=15 * clock.bit_ns,
                noise_ns=max(4 * clock.bit_ns, 500.0),
            )
            condition = Condition(speed_percent=speed)
            pulses = pulses_across_gap(pattern, clock, condition, seed_of(seed, "gap", n), region)
            late = _wrong_bits_after(subject, pulses, start + 500)
            if late > 1000:
                return None
            worst = max(worst, late * clock.bit_ns)
    return worst


def _wrong_bits_after(subject: Subject, pulses: Pulses, bit: int) -> int:
    """Return how many channel bits after `bit` the last pulse in a wrong window is."""
    behind = pulses.bit[pulses.bit >= bit]
    offset = offsets(subject, pulses)[-len(behind) :]
    at = last_error(offset)
    return 0 if at < 0 else int(behind[at + 1]) - bit


def dropout_ns(
    subject: Subject, clock: TrialClock, seed: int, speed_percent: float
) -> float | None:
    """Return the longest stretch without pulses that no channel bit is lost or gained over.

    The worst of 8 places at that speed error, either way.
    """
    pattern = data_pattern(clock.bit_ns, 1200, seed, zeros=LONG_LOCK)

    def is_right(bits: float) -> bool:
        return all(
            _counts_through(subject, clock, pattern, speed, place, round(bits))
            for speed in (speed_percent, -speed_percent)
            for place in range(8)
        )

    found = largest(is_right, LONGEST_DROPOUT_BITS, 12)
    return None if found is None else round(found) * clock.bit_ns


def _counts_through(
    subject: Subject, clock: TrialClock, pattern: Pattern, speed: float, place: int, bits: int
) -> bool:
    """Tell whether the offset behind a stretch without pulses is the one before it."""
    start = pattern.data_bit + 3000 + 257 * place
    region = NoFlux(first_bit=start, bits=max(1, bits), noise_ns=None)
    condition = Condition(speed_percent=speed)
    pulses = pulses_across_gap(pattern, clock, condition, 0, region)
    offset = offsets(subject, pulses)
    before = int(np.searchsorted(pulses.bit, start))
    data = int(np.searchsorted(pulses.bit, pattern.data_bit))
    return len(set(offset[data : before + 4].tolist())) == 1


def jitter_tolerance(
    subject: Subject, clock: TrialClock, seed: int, rate: float = 1e-3
) -> float | None:
    """Return the sigma of jitter, in ns, at which `rate` of the pulses are decoded wrong."""
    pattern = data_pattern(clock.bit_ns, 6000, seed, zeros=LONG_LOCK)
    first = pattern.first_data_pulse

    def is_right(sigma: float) -> bool:
        pulses = pulses_of(pattern, clock, Condition(jitter_ns=sigma), seed)
        return tally(offsets(subject, pulses)[first:]).rate <= rate

    return largest(is_right, clock.half_window_ns / 2, 8)
