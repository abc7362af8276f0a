"""The tracks a separator is tried on, and the pulses it gets from them.

A trial is what a drive gives after a write: a gap, a splice where the phase jumps, a preamble of
zeros, three marks, and data. Whatever differs between trials is a `Condition`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

import numpy as np

from refmodel.ground.lane import Cycles
from refmodel.ground.pulses import Pulses
from refmodel.media.flux import makes_edge, pulse_width
from refmodel.media.flux_build import WrittenFlux, read, write
from refmodel.media.flux_defects import Defects, NoFlux
from refmodel.media.seeded import Floats, random_bytes
from refmodel.media.track import A1, GAP, Piece, Track, join

PREAMBLE_BYTES = 12  # what a preamble has in the ISO layout: 8-inch drive manual 1979-82, p. 36
GAP_BYTES = 24
ENDS = 12  # pulses before the first and behind the last one that is moved by itself
HEAD_BITS, TAIL_BITS = 128, 8  # silence at both ends, so that no pulse is moved past one


@dataclass(frozen=True)
class Condition:
    """What is wrong in a trial. `splice` is the jump of phase before the preamble, in bits.

    `gap_speed_percent` is the speed error of what was written before it, if another one.
    """

    speed_percent: float = 0.0
    jitter_ns: float = 0.0
    pw50_ns: float = 0.0
    splice: float = 0.5
    gap_speed_percent: float | None = None

    @property
    def defects(self) -> Defects:
        """The defects of its flux."""
        return Defects(
            speed_percent=self.speed_percent, jitter_ns=self.jitter_ns, pw50_ns=self.pw50_ns
        )


@dataclass(frozen=True, eq=False)
class Pattern:
    """A written track, the channel bit its preamble begins with, and its first data bit."""

    written: WrittenFlux
    preamble_bit: int
    data_bit: int

    @property
    def first_data_pulse(self) -> int:
        """Index of the data's first pulse among all pulses."""
        return int(np.searchsorted(self.written.bit, self.data_bit))

    def probes(self, every: int) -> Cycles:
        """Return the index of every so many pulses of the data, away from both its ends."""
        pulses = len(self.written.bit)
        return np.arange(self.first_data_pulse + ENDS, pulses - ENDS, every)

    @property
    def shift_ns(self) -> float:
        """How far the width of the read pulses moves the transition of the data it moves most."""
        written = self.written
        moved = written.position - (written.bit + 0.5) * written.bit_ns
        return float(np.abs(moved[written.bit >= self.data_bit]).max())


@dataclass(frozen=True)
class TrialClock:
    """A profile's clock: the length of a cycle and of a nominal channel bit, in nanoseconds."""

    cycle_ns: Fraction
    bit_ns: float

    @property
    def cycles_per_bit(self) -> Fraction:
        """Cycles in a nominal channel bit."""
        return Fraction(self.bit_ns) / self.cycle_ns

    @property
    def half_window_ns(self) -> float:
        """Half a channel bit: no separator has a wider margin."""
        return self.bit_ns / 2


@lru_cache(maxsize=16)
def data_pattern(
    bit_ns: float, data_bytes: int, seed: int, pw50_ns: float = 0.0, zeros: int = 8 * PREAMBLE_BYTES
) -> Pattern:
    """Return a track with a preamble of `zeros` zero bits and `data_bytes` of random data."""
    whole, rest = divmod(zeros, 8)
    track = join(
        [
            Piece("gap", GAP * GAP_BYTES),
            Piece("preamble", bytes(whole + 1)),
            Piece("marks", A1, marks=3),
            Piece("data", random_bytes(data_bytes, seed)),
        ]
    )
    bits = np.delete(track.bits, np.s_[16 * GAP_BYTES : 16 * GAP_BYTES + 2 * (8 - rest)])
    bits = np.pad(bits, (HEAD_BITS, TAIL_BITS))
    written = write(Track(bits, track.places), bit_ns, Defects(pw50_ns=pw50_ns))
    first = HEAD_BITS + 16 * GAP_BYTES
    return Pattern(written, first, first + 2 * zeros)


def pulses_of(
    pattern: Pattern,
    clock: TrialClock,
    condition: Condition,
    seed: int,
    moved_ns: Floats | None = None,
) -> Pulses:
    """Return the pulses of a trial, each moved by an element of `moved_ns` (positive: late)."""
    return pulses_with(
        pattern, clock, condition.defects, seed, _moves(pattern, condition, moved_ns)
    )


def pulses_across_gap(
    pattern: Pattern, clock: TrialClock, condition: Condition, seed: int, region: NoFlux
) -> Pulses:
    """Return the pulses of a trial with a region without flux; noise in it has bit NO_BIT."""
    defects = condition.defects.model_copy(update={"no_flux": [region]})
    return pulses_with(pattern, clock, defects, seed, _moves(pattern, condition, None))


def _moves(pattern: Pattern, condition: Condition, moved_ns: Floats | None) -> Floats:
    """Return how far each pulse is moved: by the splice, and as the trial wants."""
    written = pattern.written
    speed = 1 + condition.speed_percent / 100  # a nanosecond of time is so many of head travel
    moved = np.zeros(len(written.bit)) if moved_ns is None else moved_ns * speed
    gap = written.bit < pattern.preamble_bit
    moved[~gap] += condition.splice * written.bit_ns
    if condition.gap_speed_percent is not None:  # stretched or squeezed up to the splice
        ratio = (100 + condition.speed_percent) / (100 + condition.gap_speed_percent)
        moved[gap] += (written.position[gap] - pattern.preamble_bit * written.bit_ns) * (ratio - 1)
    return moved


def pulses_with(
    pattern: Pattern, clock: TrialClock, defects: Defects, seed: int, moved_ns: Floats
) -> Pulses:
    """Return the pulses of a pattern with any defects, as the line shows them."""
    written = replace(pattern.written, position=pattern.written.position + moved_ns)
    flux = read(written, defects, seed)
    seen = flux.seen(clock.cycle_ns)
    edge = makes_edge(seen, pulse_width(clock.cycle_ns))
    return Pulses(seen[edge], flux.bit[edge])
