"""The pulses a head reads while it steps from track to track and parts are written over."""

from __future__ import annotations

import numpy as np

from refmodel.ground.errors import UserError
from refmodel.ground.pulses import NO_BIT
from refmodel.media import flux_build
from refmodel.media.flux_build import WrittenFlux
from refmodel.media.flux_defects import Defects
from refmodel.media.seeded import Floats, exponential
from refmodel.media.writing import Surface, Timed, in_order
from refmodel.world.captured import CapturedTrack
from refmodel.world.disk import Disk
from refmodel.world.timed import TimedTrack

ON_THE_WAY = 3  # stream of random numbers beside the disk's others
NOISE_BITS = 4  # channel bits between two pulses while the head moves: the longest gap of MFM


class FluxUnderHead:
    """The flux of a disk's tracks as one head reads it; `surface` is what was written over it."""

    def __init__(self, disk: Disk, surface: Surface) -> None:
        self._disk = disk
        self._surface = surface
        self._written: dict[int, WrittenFlux] = {}

    def moments(self, turn: int) -> Timed:
        """Return when each pulse of a revolution comes, in cycles, and the channel bit it was."""
        disk = self._disk
        begin = disk.pace.begin(turn, disk.start)
        if isinstance(disk.track, CapturedTrack):
            read = disk.track.flux(turn)
            return begin + read.ns / float(disk.profile.cycle_ns), read.bit
        found = self._of_track(0, turn)
        for step, (at, track) in enumerate(disk.drive.steps):
            found = self._moved(found, self._of_track(track, turn), at, (turn, step))
        return self._surface.flux_under_the_head(*found, begin)

    def _of_track(self, number: int, turn: int) -> Timed:
        """Return a track's pulses in a revolution."""
        disk = self._disk
        bit_ns = float(disk.profile.channel_bit_ns * disk.bit_times)
        if number not in self._written:
            self._written[number] = self._write(number, bit_ns)
        read = flux_build.read(self._written[number], disk.scenario.flux, disk.seed, turn)
        position = (read.ns - read.start_ns) / bit_ns
        begin = disk.start + float(turn * disk.pace.cycles)
        return begin + disk.pace.times(position), read.bit

    def _write(self, number: int, bit_ns: float) -> WrittenFlux:
        """Return a track's transitions; UserError, at the scenario's key, for one without any."""
        disk = self._disk
        track = (disk.track, *disk.tracks)[number]
        try:
            blank = isinstance(track, TimedTrack)  # it need not be what a drive delivers
            return flux_build.write(track, bit_ns, disk.scenario.flux, blank)
        except UserError as error:
            key = "flux" if disk.scenario.flux != Defects() else "tracks" if number else "track"
            raise disk.scenario.fault((key,), str(error).removeprefix("flux: ")) from None

    def _moved(self, here: Timed, there: Timed, at: int, seed: tuple[int, int]) -> Timed:
        """Return the pulses of a head that leaves at cycle `at`, with noise on its way."""
        disk = self._disk
        turn, still = seed[0], at + disk.drive.settle
        first, end = (disk.pace.begin(turn + n, disk.start) for n in (0, 1))
        before, behind = here[0] < at, there[0] >= still
        noise = self._noise(max(at, first), min(still, end), seed)
        return in_order(
            np.concatenate((here[0][before], noise, there[0][behind])),
            np.concatenate(
                (here[1][before], np.full(len(noise), NO_BIT, np.int64), there[1][behind])
            ),
        )

    def _noise(self, first: float, end: float, seed: tuple[int, int]) -> Floats:
        """Return pulses at random between two moments."""
        apart = NOISE_BITS * float(self._disk.pace.cycles) / len(self._disk.track)
        expected = max(end - first, 0) / apart
        count = int(expected + 10 * np.sqrt(expected) + 20)  # practically never too few
        at = first + np.cumsum(exponential(count, self._disk.seed, ON_THE_WAY, *seed)) * apart
        return np.asarray(at[at < end])
