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
    bits: int = Key(ge=1)

    @property
    def end_bit(self) -> int:
        """The first channel bit after the stretch."""
        return self.first_bit + self.bits

    def holds(self, bit: Cycles) -> NDArray[np.bool_]:
        """Tell which channel bits lie in it."""
        return np.asarray((bit >= self.first_bit) & (bit < self.end_bit))


class Weak(Region):
    """Pulses near the window's edge, so that a revolution may read them in either window.

    They lie `shift_ns` late (half a channel bit if not given), and `noise_ns` is the sigma of a
    Gaussian jitter of their own (an eighth of a channel bit). The region comes `times` times, each
    `every` channel bits behind the one before; with `graded` the first of them is not late at all
    and the last one a whole channel bit, evenly in between (US 4,849,836 shifts a pulse gradually
    until 1101 reads as 1011). Common practice, no source.
    """

    times: int = Key(1, ge=1, le=100_000)
    every: int = Key(16, ge=1)
    graded: bool = False
    shift_ns: float | None = Key(None, ge=-4000, le=4000)
    noise_ns: float | None = Key(None, ge=0, le=4000)

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

    Noise begins `quiet_ns` into it, its pulses `noise_ns` apart on average (null: none ever).
    Tens of microseconds of silence are common practice, no source.
    """

    quiet_ns: float = Key(30_000, ge=0, le=1e9)
    noise_ns: float | None = Key(8_000, ge=500, le=1e9)


class Dropout(Region):
    """A flaw of the coating: the read signal loses up to `loss` of its amplitude in the middle.

    Towards both ends the loss goes back to nothing, as half a sine does. A pulse is missing when
    the amplitude, with a Gaussian noise of `noise` of the full one, is below `threshold`. That a
    dropout is a burst and loses amplitude is common practice, no source.
    """

    loss: float = Key(1, gt=0, le=1)
    threshold: float = Key(0.4, gt=0, lt=1)
    noise: float = Key(0.05, ge=0, le=1)

    def amplitude(self, bit: Cycles) -> Floats:
        """Return the read signal of channel bits, 1 where nothing is lost."""
        along = np.clip((bit + 0.5 - self.first_bit) / self.bits, 0, 1)
        return np.asarray(1 - self.loss * np.sin(np.pi * along), np.float64)


class Defects(Schema):
    """Every defect of a track's flux; the default is a perfect one.

    `speed_percent` above 0 is a disk that turns fast; `wow_percent` is the peak of a sinusoidal
    speed error with one period a revolution. `jitter_ns` is a Gaussian sigma, `uniform_ns` half
    the range of uniform jitter. `pw50_ns` is the width of the Lorentzian pulses whose overlap
    shifts peaks; `asymmetry_ns` moves every other pulse late against the others.
    `dropout_rate` is the chance of a pulse to be missing, `extra_rate` the chance of a pulse that
    does not belong in each channel bit. `dropouts` are bursts with a loss of amplitude. `filter_ns`
    is what the read filter passes: a pulse closer behind another one is lost.
    """

    speed_percent: float = Key(0, ge=-25, le=25)
    wow_percent: float = Key(0, ge=0, le=10)
    jitter_ns: float = Key(0, ge=0, le=2000)
    uniform_ns: float = Key(0, ge=0, le=2000)
    pw50_ns: float = Key(0, ge=0, le=6000)
    asymmetry_ns: float = Key(0, ge=-2000, le=2000)
    dropout_rate: float = Key(0, ge=0, le=1)
    extra_rate: float = Key(0, ge=0, le=1)
    weak: list[Weak] = Key([])
    no_flux: list[NoFlux] = Key([])
    dropouts: list[Dropout] = Key([])
    filter_ns: float = Key(0, ge=0, le=10_000)
