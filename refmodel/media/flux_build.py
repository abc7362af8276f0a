"""Builds the flux of a track: what was written on it, then what a drive reads in a revolution."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from refmodel.ground.errors import UserError
from refmodel.ground.lane import Cycles
from refmodel.ground.pulses import NO_BIT
from refmodel.media.flux import Flux
from refmodel.media.flux_defects import Defects, NoFlux, Region
from refmodel.media.flux_shift import peak_shifts
from refmodel.media.seeded import Floats, exponential, gaussian, uniform
from refmodel.media.track import Track

# Streams of random numbers, one a kind of defect.
JITTER, UNIFORM, DROPOUT, EXTRA, EXTRA_AT, WEAK, NOISE, AMPLITUDE = range(8)
WIDEST_BITS = 3  # of a Lorentzian pulse: wider ones leave transitions without a peak of their own


@dataclass(frozen=True, eq=False)
class WrittenFlux:
    """The transitions of one revolution as the head would give them, in ns at nominal speed.

    `position` is where the read signal of each peaks, peak shift and asymmetry included; `bit` is
    its channel bit. Channel bit k lies from k * bit_ns to (k + 1) * bit_ns, its transition in the
    middle.
    """

    position: Floats
    bit: Cycles
    bits: int
    bit_ns: float

    @property
    def ring_ns(self) -> float:
        """Length of the revolution."""
        return self.bits * self.bit_ns


def write(track: Track, bit_ns: float, defects: Defects, blank: bool = False) -> WrittenFlux:
    """Return the transitions of a track whose channel bits are `bit_ns` long.

    Raises UserError for a track without a transition unless it may be `blank`, a region that does
    not lie on it, or pulses so wide that transitions have no peaks.
    """
    if defects.pw50_ns > WIDEST_BITS * bit_ns:
        raise UserError(
            f"flux: pw50_ns {defects.pw50_ns:g} is above {WIDEST_BITS} channel bits of {bit_ns:g}"
            " ns; the read signal of transitions that close together has no peaks left"
        )
    _check_regions([*defects.weak, *defects.no_flux, *defects.dropouts], len(track))
    bit = np.flatnonzero(track.bits).astype(np.int64)
    if not len(bit) and not blank:
        raise UserError("flux: the track has no transition; all its channel bits are 0")
    position: Floats = (bit + 0.5) * np.float64(bit_ns)
    position = position + peak_shifts(position, len(track) * bit_ns, defects.pw50_ns)
    position += np.where(np.arange(len(bit)) % 2, 0.5, -0.5) * defects.asymmetry_ns
    return WrittenFlux(position, bit, len(track), bit_ns)


def read(written: WrittenFlux, defects: Defects, seed: int, turn: int = 0) -> Flux:
    """Return what the drive reads in revolution `turn`, with times from the start of the run."""
    position, bit = _weakened(written, defects, seed, turn)
    ns = _time_of(position, written, defects)
    ns += defects.jitter_ns * gaussian(len(ns), seed, turn, JITTER)
    ns += defects.uniform_ns * (2 * uniform(len(ns), seed, turn, UNIFORM) - 1)
    there = uniform(len(ns), seed, turn, DROPOUT) >= defects.dropout_rate
    for region in defects.no_flux:
        there &= ~region.holds(bit)
    for n, flaw in enumerate(defects.dropouts):
        noise = flaw.noise * gaussian(len(bit), seed, turn, AMPLITUDE, n)
        there &= ~flaw.holds(bit) | (flaw.amplitude(bit) + noise >= flaw.threshold)
    stray = [_extra(written, defects, seed, turn)]
    stray += [
        _noise(region, written, (seed, turn, NOISE, n)) for n, region in enumerate(defects.no_flux)
    ]
    stray_ns = _time_of(np.concatenate(stray), written, defects)
    numbered = turn * written.bits + bit[there]
    length = written.ring_ns / _speed(defects)
    whole = _in_order(
        np.concatenate((ns[there], stray_ns)) + turn * length,
        np.concatenate((numbered, np.full(len(stray_ns), NO_BIT, np.int64))),
        (turn * length, (turn + 1) * length),
    )
    return _filtered(whole, defects.filter_ns)


def _filtered(flux: Flux, filter_ns: float) -> Flux:
    """Return the flux without pulses less than `filter_ns` behind the last one that passed."""
    close = np.flatnonzero(np.diff(flux.ns) < filter_ns) + 1
    if not len(close):
        return flux
    keep = np.ones(len(flux), bool)
    for at in close.tolist():
        before = at - 1
        while not keep[before]:
            before -= 1
        keep[at] = flux.ns[at] - flux.ns[before] >= filter_ns
    return Flux(flux.ns[keep], flux.bit[keep], flux.start_ns, flux.end_ns)


def arrival_ns(written: WrittenFlux, defects: Defects, bits: Cycles) -> Floats:
    """Return when the middle of each channel bit passes the head, counted through revolutions."""
    turn, bit = np.divmod(bits, written.bits)
    middle = _time_of((bit + 0.5) * written.bit_ns, written, defects)
    return middle + turn * written.ring_ns / _speed(defects)


def _speed(defects: Defects) -> float:
    return 1 + defects.speed_percent / 100


def _time_of(position: Floats, written: WrittenFlux, defects: Defects) -> Floats:
    """Return the time in the revolution at which a place passes the head.

    dt/dx is (1 - wow * sin(2 pi x / ring)) / speed: a revolution takes as long as without wow.
    """
    ring, wow = written.ring_ns, defects.wow_percent / 100
    swing = wow * ring / (2 * np.pi) * (np.cos(2 * np.pi * position / ring) - 1)
    return np.asarray((position + swing) / _speed(defects), np.float64)


def _weakened(
    written: WrittenFlux, defects: Defects, seed: int, turn: int
) -> tuple[Floats, Cycles]:
    """Return the transitions with those in weak regions moved as this revolution reads them."""
    position = written.position.copy()
    for n, region in enumerate(defects.weak):
        weak = np.flatnonzero(region.holds(written.bit))
        noise = gaussian(len(weak), seed, turn, WEAK, n)
        sigma = written.bit_ns / 8 if region.noise_ns is None else region.noise_ns
        position[weak] += region.late_ns(written.bit[weak], written.bit_ns) + sigma * noise
    return position, written.bit


def _extra(written: WrittenFlux, defects: Defects, seed: int, turn: int) -> Floats:
    """Return where extra pulses lie, anywhere in the channel bits that have one."""
    if not defects.extra_rate:
        return np.empty(0)
    hit = np.flatnonzero(uniform(written.bits, seed, turn, EXTRA) < defects.extra_rate)
    return np.asarray((hit + uniform(len(hit), seed, turn, EXTRA_AT)) * written.bit_ns)


def _noise(region: NoFlux, written: WrittenFlux, seed: tuple[int, ...]) -> Floats:
    """Return where the noise pulses of a region without flux lie."""
    start = region.first_bit * written.bit_ns + region.quiet_ns
    length = region.end_bit * written.bit_ns - start
    if region.noise_ns is None or length <= 0:
        return np.empty(0)
    expected = length / region.noise_ns
    count = int(expected + 10 * np.sqrt(expected) + 20)  # practically never too few
    at = start + np.cumsum(exponential(count, *seed)) * region.noise_ns
    return np.asarray(at[at < start + length])


def _in_order(ns: Floats, bit: Cycles, span: tuple[float, float]) -> Flux:
    """Return the pulses sorted by time, those outside the revolution moved to its ends.

    Of pulses at the very same time the first is kept.
    """
    ns = np.clip(ns, span[0], np.nextafter(span[1], 0))
    order = np.argsort(ns, kind="stable")
    ns, bit = ns[order], bit[order]
    keep = np.diff(ns, prepend=-1.0) > 0
    return Flux(ns[keep], bit[keep], *span)


def _check_regions(regions: list[Region], bits: int) -> None:
    """Raise UserError for a region that runs past the end of the track."""
    for region in regions:
        if region.end_bit > bits:
            raise UserError(
                f"flux: a region of {region.bits} channel bits from {region.first_bit} on ends"
                f" after the track's last, {bits - 1}"
            )
