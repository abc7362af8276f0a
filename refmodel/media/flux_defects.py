"""What is wrong with the flux: one schema, for scenario files and for margin sweeps.

Speed, wow, peak shift and asymmetry belong to the disk and the drive and come back in every
revolution. Jitter, dropouts, extra pulses, weak regions and noise differ by revolution; all are
drawn from the run's seed, so a run can be repeated.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from pydantic import Field as Key

from refmodel.ground.lane import Cycles
from refmodel.ground.yamlfile import Schema
from refmodel.media.seeded import Floats


class Region(Schema):
    """A stretch of a track: `bits` channel bits from `first_bit` on."""

    first_bit: int = Key(ge=0)
    """Its first channel bit."""
    bits: int = Key(ge=1)
    """How many channel bits."""

    @property
    def end_bit(self) -> int:
        """The first channel bit after the stretch."""
        return self.first_bit + self.bits

    def holds(self, bit: Cycles) -> NDArray[np.bool_]:
        """Tell which channel bits lie in it."""
        return np.asarray((bit >= self.first_bit) & (bit < self.end_bit))


class Weak(Region):
    """Pulses near the window's edge, so that a revolution may read them in either window.

    Common practice, no source; that a pulse moves gradually until 1101 reads as 1011 is from
    US 4,849,836.
    """

    times: int = Key(1, ge=1, le=100_000)
    """How often the region comes."""
    every: int = Key(16, ge=1)
    """Channel bits from one to the next."""
    graded: bool = False
    """The first is not late at all, the last a whole channel bit, evenly in between."""
    shift_ns: float | None = Key(None, ge=-4000, le=4000)
    """How late its pulses are; without it half a channel bit."""
    noise_ns: float | None = Key(None, ge=0, le=4000)
    """The sigma of their jitter; without it an eighth of a channel bit."""

    def late_ns(self, bit: Cycles, bit_ns: float) -> Floats:
        """Return how late the pulses of channel bits in it are."""
        if self.graded:
            which = (bit - self.first_bit) // self.every
            return np.asarray(which / max(self.times - 1, 1) * bit_ns, np.float64)
        return np.full(len(bit), bit_ns / 2 if self.shift_ns is None else self.shift_ns)

    @property
    def end_bit(self) -> int:
        """The first channel bit after the last of its repetitions."""
        return self.first_bit + (self.times - 1) * self.every + self.bits

    def holds(self, bit: Cycles) -> NDArray[np.bool_]:
        """Tell which channel bits lie in it."""
        inside = (bit - self.first_bit) % self.every < self.bits if self.times > 1 else True
        return super().holds(bit) & inside


class NoFlux(Region):
    """A stretch without transitions: silent at first, then noise as the amplifier's gain rises.

    Tens of microseconds of silence are common practice, no source.
    """

    quiet_ns: float = Key(30_000, ge=0, le=1e9)
    """How long it is silent before noise begins."""
    noise_ns: float | None = Key(8_000, ge=500, le=1e9)
    """The average distance of noise pulses; null for no noise."""


class Dropout(Region):
    """A flaw of the coating: the read signal loses amplitude, most of it in the middle.

    Towards both ends the loss goes back to nothing, as half a sine does. That a dropout is a burst
    and loses amplitude is common practice, no source.
    """

    loss: float = Key(1, gt=0, le=1)
    """The share of the amplitude that is lost in the middle."""
    threshold: float = Key(0.4, gt=0, lt=1)
    """A pulse of less amplitude is missing."""
    noise: float = Key(0.05, ge=0, le=1)
    """The sigma of noise on the amplitude, as a part of the full one."""

    def amplitude(self, bit: Cycles) -> Floats:
        """Return the read signal of channel bits, 1 where nothing is lost."""
        along = np.clip((bit + 0.5 - self.first_bit) / self.bits, 0, 1)
        return np.asarray(1 - self.loss * np.sin(np.pi * along), np.float64)


class Defects(Schema):
    """Every defect of a track's flux; the default is a perfect one."""

    speed_percent: float = Key(0, ge=-25, le=25)
    """Not in a scenario, which has a `speed_percent` of its own."""
    wow_percent: float = Key(0, ge=0, le=10)
    """The peak of a sinusoidal speed error, once a revolution."""
    jitter_ns: float = Key(0, ge=0, le=2000)
    """The sigma of Gaussian jitter."""
    uniform_ns: float = Key(0, ge=0, le=2000)
    """Half the range of uniform jitter."""
    pw50_ns: float = Key(0, ge=0, le=6000)
    """The width of read pulses, whose overlap shifts peaks by their neighbours."""
    asymmetry_ns: float = Key(0, ge=-2000, le=2000)
    """The delay of every second pulse."""
    dropout_rate: float = Key(0, ge=0, le=1)
    """The chance of each pulse to be missing."""
    extra_rate: float = Key(0, ge=0, le=1)
    """The chance of a pulse that does not belong, in each channel bit."""
    weak: list[Weak] = Key([])
    """Regions that read differently in each revolution."""
    no_flux: list[NoFlux] = Key([])
    """Regions without transitions."""
    dropouts: list[Dropout] = Key([])
    """Defects of the coating: bursts of lower amplitude."""
    filter_ns: float = Key(0, ge=0, le=10_000)
    """The shortest spacing the read filter passes: a pulse that follows sooner is lost."""
