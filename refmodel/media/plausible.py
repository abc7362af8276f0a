"""Whether captured flux can be that of a disk: its pulses, its revolutions, its unit of time.

In MFM, FM and group codes alike, pulses come two channel bits apart or more, where the channel bit
of a group code is half a cell (common practice, no source). So the shortest spacing that is usual
in a capture says how long a channel bit is, whatever is on the track.
"""

from __future__ import annotations

from math import log

import numpy as np

from refmodel.ground.errors import UserError
from refmodel.media.flux_list import FluxList
from refmodel.media.seeded import Floats

SHORTEST_BITS = 2  # channel bits between two pulses, at least
USUAL = 10  # percent of the spacings are as short, or are noise
MOST_OFF = 8  # times longer or shorter than the nominal channel bit: no speed error, no density
NOTICED = 0.15  # of the nominal channel bit: more than a drive's speed is ever off
PREFIX = 1000  # between units of time
LIKE = 2.5  # times off a power of it: still a wrong unit, as a density may be off as well
SILENT_BITS = 64  # channel bits a pulse, on average, in a capture that is mostly silence
LARGEST_BITS = 20_000_000  # channel bits that are read of silence
FAST_MS, SLOW_MS = 120, 300  # a revolution: 166.7 ms at 360 rpm, 200 ms at 300 (common practice)
WHERE = "correct $timescale, file.unit or rate"
FEWEST_SAMPLES = 6  # a channel bit: fewer move a pulse by more than a separator takes
ROUNDED_NS = 2.0  # by which times that are written in ns may be off


def check_flux(flux: FluxList, bit_ns: float) -> None:
    """Raise UserError for flux that no disk has with channel bits of `bit_ns`.

    It says what the unit of its times seems to be. Nothing is held for each channel bit before.
    """
    apart = _apart(flux)
    if not len(apart):
        return
    off = _off(apart, bit_ns)
    if not 1 / MOST_OFF < off < MOST_OFF:
        raise UserError(
            f"pulses are {_time(off * SHORTEST_BITS * bit_ns)} apart, not"
            f" {_time(SHORTEST_BITS * bit_ns)} or more as on a disk: {_unit(off)}; {WHERE}"
        )
    bits = float(flux.ns[-1] - flux.ns[0]) / bit_ns
    if bits > LARGEST_BITS + SILENT_BITS * len(flux.ns):
        at = int(np.argmax(apart))
        raise UserError(
            f"{len(flux.ns)} pulses in {_time(bits * bit_ns)} are mostly silence, the longest of"
            f" {_time(float(apart[at]))} from {_time(float(flux.ns[at]))} on: cut the capture"
            " there, or correct the times"
        )


def doubts(flux: FluxList, bit_ns: float) -> list[str]:
    """Return what looks odd about captured flux, and what may be the reason."""
    found = []
    apart = _apart(flux)
    off = _off(apart, bit_ns) if len(apart) else 1.0
    if abs(off - 1) > NOTICED:
        found.append(
            f"pulses are {_time(off * SHORTEST_BITS * bit_ns)} apart or more, as in MFM with"
            f" channel bits of {off * bit_ns:.4g} ns; {bit_ns:g} ns are expected: is it the right"
            f" --profile, unit or rate, or does the drive turn {'slowly' if off > 1 else 'fast'}?"
        )
    step = _step(apart, bit_ns)
    if step is not None and bit_ns > step > bit_ns / FEWEST_SAMPLES:
        found.append(
            f"pulses were sampled every {step:.4g} ns, {bit_ns / step:.2g} times a channel bit: too"
            f" slow, sample at {1000 * FEWEST_SAMPLES / bit_ns:g} MHz or more"
        )
    turns = np.diff(flux.index_ns) / 1e6
    if not len(turns):
        return found
    usual = float(np.median(turns))
    if not FAST_MS < usual < SLOW_MS:
        found.append(
            f"index pulses are {usual:.4g} ms apart, a disk turns in 167 or 200 ms: is there noise"
            " on the index line (glitch_ns in the map leaves out short pulses), or is an index"
            " pulse missing?"
        )
    return found


def _apart(flux: FluxList) -> Floats:
    """Return the times from pulse to pulse, in ns."""
    return np.diff(flux.ns)


def _off(apart: Floats, bit_ns: float) -> float:
    """Return how many times as long as nominal the channel bits of a capture are."""
    return float(np.percentile(apart, USUAL)) / (SHORTEST_BITS * bit_ns)


def _step(apart: Floats, bit_ns: float) -> float | None:
    """Return the time of which spacings are multiples; None where none of two is known."""
    usual = apart[apart < 2 * SHORTEST_BITS * bit_ns]
    steps = np.diff(np.unique(np.rint(usual)))
    steps = steps[steps > ROUNDED_NS]
    return float(steps.min()) if len(steps) else None


def _unit(off: float) -> str:
    """Say what is wrong with the unit of times that are so many times too long."""
    if not off:
        return "these times are all the same"
    power = round(log(off) / log(PREFIX))
    way, times = ("long", off) if off > 1 else ("short", 1 / off)
    if power and abs(log(off) - power * log(PREFIX)) < log(LIKE):
        return f"all times seem to be {PREFIX ** abs(power)} times too {way}"
    said = f"all times seem to be about {times:.3g} times too {way}"
    return f"{said}, as if {off * 1000:.3g} MHz ticks were taken for ns" if off < 1 else said


def _time(ns: float) -> str:
    """Return a time in the unit that suits it."""
    for unit, size in (("s", 1e9), ("ms", 1e6), ("us", 1e3)):
        if ns >= size:
            return f"{ns / size:.4g} {unit}"
    return f"{ns:.3g} ns"
