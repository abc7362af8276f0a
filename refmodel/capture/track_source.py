"""Where a track comes from: captured flux, a scenario's disk, or a file of sectors."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from refmodel.capture.wave_flux import flux_of_wave
from refmodel.ground.content import content_of
from refmodel.ground.errors import UserError, near, reading
from refmodel.media import flux_build
from refmodel.media.flux_defects import Defects
from refmodel.media.flux_list import FluxList, Reading, read_flux
from refmodel.media.plausible import doubts
from refmodel.media.track import Track, image_track
from refmodel.profile import Profile
from refmodel.world.captured import CapturedTrack
from refmodel.world.disk import Disk
from refmodel.world.find import find_scenario
from refmodel.world.revolutions import Turns, turns_of
from refmodel.world.sector_layouts import LARGEST_IMAGE
from refmodel.world.spans import disk_of
from refmodel.world.turning import Turning

WAVES = (".vcd", ".fst")
FLUX = (".txt", ".csv", ".npy", ".npz", ".flux")
IMAGES = (".img", ".bin", ".raw", ".dsk")


@dataclass(frozen=True)
class ImageShape:
    """How a file of sectors is laid out on a track."""

    sectors: int = 9
    size: int = 512


@dataclass(frozen=True, eq=False)
class TrackSource:
    """A track to be shown: its revolutions, and how long a channel bit nominally is."""

    name: str
    turns: Turns
    bit_ns: float


def find_track(
    given: str,
    profile: Profile,
    seed: int,
    rate: Fraction | None,
    shape: ImageShape,
    wave_map: Path | None = None,
) -> TrackSource:
    """Return the track a user means: a file of flux, a waveform, a scenario, a file of sectors.

    Raises UserError when it is none of them, or not whole.
    """
    path, bit_ns = Path(given), float(profile.channel_bit_ns)
    if wave_map is not None:
        flux = flux_of_wave(path, wave_map)
    elif path.suffix in WAVES:
        raise UserError(f"{given}: --map must say which of its signals are the drive's lines")
    elif path.suffix in FLUX:
        flux = read_flux(path, Reading(rate=rate))
    elif path.suffix in IMAGES:
        flux = _of_track(_image(path, shape), bit_ns)
    elif path.suffix in ("", ".yaml", ".yml"):
        scenario_path, scenario = find_scenario(given)
        with reading(scenario_path):
            flux = _of_scenario(disk_of(scenario_path, scenario, profile, seed))
    else:
        known = near(path.suffix, [*FLUX, *WAVES, *IMAGES, ".yaml"])
        raise UserError(f"{given}: '{path.suffix}' is not a kind of track file{known}")
    with reading(path):
        turns = turns_of(flux, bit_ns, profile.separator, profile.cycle_ns)
        if wave_map is not None or path.suffix in FLUX:
            turns = replace(turns, notes=(*doubts(flux, bit_ns), *turns.notes))
    return TrackSource(given, turns, bit_ns)


def _image(path: Path, shape: ImageShape) -> Track:
    """Return the track that a file of sectors makes."""
    data = content_of(path, LARGEST_IMAGE)
    with reading(path):
        return image_track(data, sectors=shape.sectors, size=shape.size)


def _of_track(track: Track, bit_ns: float) -> FluxList:
    """Return the flux of one perfect revolution of a track."""
    read = flux_build.read(flux_build.write(track, bit_ns, Defects()), Defects(), 0)
    return FluxList(read.ns, np.array([0.0, read.end_ns]))


def _of_scenario(disk: Disk) -> FluxList:
    """Return the flux of all revolutions of a scenario's disk, as its profile's clock sees it."""
    cycle_ns = float(disk.profile.cycle_ns)
    if isinstance(disk.track, CapturedTrack):
        revolutions = disk.track.turns.revolutions
        begin = np.concatenate(([0.0], np.cumsum([r.length_ns for r in revolutions])))
        pulses = [r.pulse_ns + b for r, b in zip(revolutions, begin[:-1], strict=True)]
        return FluxList(np.concatenate(pulses), begin)
    seen = [
        stimulus.pulses.cycle if len(stimulus.pulses) else stimulus.bit_cycle[stimulus.bit == 1]
        for stimulus in Turning(disk)
    ]
    late = 0 if disk.separator else float(disk.profile.cycles_per_bit) / 2
    ends = [*disk.drive.index, disk.pace.begin(disk.scenario.revolutions, disk.start)]
    return FluxList((np.concatenate(seen) - late) * cycle_ns, np.array(ends) * cycle_ns)
