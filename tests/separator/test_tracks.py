"""Whole tracks through each separator: read by an independent reader of the ISO layout."""

import numpy as np
import pytest

from refmodel.media.flux import makes_edge, pulse_width
from refmodel.media.flux_build import read, write
from refmodel.media.flux_defects import Defects
from refmodel.media.reader import read_sectors
from refmodel.media.track import iso_track
from refmodel.profile import load_profile
from refmodel.separator.choose import NAMES, make_separator
from refmodel.separator.leap import run

TRACK = iso_track()
SECTOR_BITS = 16 * 658
FIRST_SECTOR = 16 * 146  # channel bits


def recovered(name, profile, jumps_ns=None, seed=1, **defects):
    """Return the channel bits of one revolution; `jumps_ns` moves each sector from its ID sync on.

    A drive that rewrites sectors leaves such jumps of phase in the gaps.
    """
    wrong = Defects(**defects)
    flux = read(write(TRACK, float(profile.channel_bit_ns), wrong), wrong, seed)
    seen = flux.seen(profile.cycle_ns)
    if jumps_ns is not None:
        sector = (flux.bit - FIRST_SECTOR) // SECTOR_BITS
        late = np.where(sector < 0, 0, np.array([*jumps_ns, 0])[sector.clip(0, len(jumps_ns))])
        seen = np.unique(seen + np.rint(late / float(profile.cycle_ns)).astype(np.int64))
    pulses = seen[makes_edge(seen, pulse_width(profile.cycle_ns))]
    separator = make_separator(name, profile.separator, profile.cycles_per_bit)
    return run(separator, pulses, int(pulses[-1]) + 1000)


def sectors_of(bits):
    """Return the numbers of the sectors whose ID and data are right."""
    return [s.number for s in read_sectors(bits.bit) if s.id_crc_ok and s.data_crc_ok]


ALL_NINE = list(range(1, 10))


@pytest.mark.parametrize("profile_name", ["pal_dd", "ntsc_dd", "round_hd"])
@pytest.mark.parametrize("name", NAMES)
def test_a_perfect_track_comes_back_bit_by_bit(name, profile_name):
    """Every channel bit of the track comes back in order, a nominal channel bit apart."""
    profile = load_profile(profile_name)
    bits = recovered(name, profile)
    start = int(np.argmax(bits.bit)) - int(np.argmax(TRACK.bits))
    assert bits.bit[start:][: len(TRACK)].tolist() == TRACK.bits.tolist()
    assert np.diff(bits.cycle).mean() == pytest.approx(float(profile.cycles_per_bit), rel=1e-4)


@pytest.mark.parametrize("speed", [-1.5, 1.5])
@pytest.mark.parametrize("name", NAMES)
def test_the_speed_tolerance_of_a_drive_is_read(name, speed):
    """All sectors are read at the +-1.5 % long-term speed of published drive data (SFD-321B)."""
    assert sectors_of(recovered(name, load_profile("pal_dd"), speed_percent=speed)) == ALL_NINE


@pytest.mark.parametrize("speed", [-3, 0, 3])
@pytest.mark.parametrize("name", NAMES)
def test_it_locks_within_a_preamble_of_12_zeros(name, speed):
    """All sectors are read at +-3 %, a slow write read fast, whatever phase a preamble begins with.

    12 bytes of zeros, 96 pulses 4 us apart, are 384 us: arithmetic on the ISO layout.
    """
    profile = load_profile("pal_dd")
    for first in range(0, 2000, 250):
        jumps = [(first + 700 * sector) % 2000 for sector in range(9)]
        bits = recovered(name, profile, jumps_ns=jumps, speed_percent=speed)
        assert sectors_of(bits) == ALL_NINE


def test_jitter_wow_and_speed_error_together_are_read():
    """Jitter of 150 ns, 2 % fast, wow of 1 %: the second-order separator reads every sector."""
    wrong = {"jitter_ns": 150, "speed_percent": 2, "wow_percent": 1}
    assert sectors_of(recovered("second_order", load_profile("pal_dd"), **wrong)) == ALL_NINE


def test_a_speed_error_beyond_the_lock_range_is_not_read():
    """At 25 % fast nothing is decoded, and nothing breaks."""
    for name in NAMES:
        assert sectors_of(recovered(name, load_profile("pal_dd"), speed_percent=25)) == []


@pytest.mark.parametrize("name", NAMES)
def test_a_1_carries_the_phase_it_was_taken_at(name):
    """The phase of a 1 lies within half its window; a 0 has none."""
    bits = recovered(name, load_profile("pal_dd"), jitter_ns=150, speed_percent=2)
    assert (np.abs(2 * bits.phase) <= bits.period + (1 << 13)).all()
    assert not bits.phase[bits.bit == 0].any()
    assert np.count_nonzero(bits.phase) > 0.8 * np.count_nonzero(bits.bit)
