"""What is on the disks of a scenario's drives: made, an image, or captured; switched in time."""

from __future__ import annotations

from pathlib import Path

from refmodel.drive.ticks import Ticks
from refmodel.ground.content import content_of
from refmodel.ground.errors import UserError
from refmodel.media.seeded import seed_of
from refmodel.media.track import Track, image_track
from refmodel.world.disk import Disk
from refmodel.world.drive_setup import DriveSetup
from refmodel.world.layouts import ScenarioTrack
from refmodel.world.sector_layouts import LARGEST_IMAGE, ImageLayout, IsoLayout, beside


class Sources:
    """The tracks of every drive. `switches` are the cycles in which one takes another source."""

    def __init__(self, disk: Disk, setup: DriveSetup, folder: Path, ticks: Ticks) -> None:
        self._disk, self._folder = disk, folder
        self._of = {
            unit.select: [(ticks.of(s.from_us), s.track) for s in unit.sources]
            for unit in setup.units
        }
        self._sides = {u.select: u.load_profile(folder).sides for u in setup.units}
        times = (at for sources in self._of.values() for at, _ in sources)
        self.switches = sorted(at for at in times if at)
        self._made: dict[tuple[int, int, int, int], Track] = {}

    def track(self, drive: int, cylinder: int, side: int, cycle: int) -> Track:
        """Return what lies on a track of a drive in a cycle."""
        number, layout = 0, self._disk.scenario.track
        for n, (since, given) in enumerate(self._of[drive]):
            if since <= cycle:
                number, layout = n + 1, given
        key = (drive, cylinder, side, number)
        if key not in self._made:
            self._made[key] = self._build(layout, drive, cylinder, side)
        return self._made[key]

    def _build(self, layout: ScenarioTrack, drive: int, cylinder: int, side: int) -> Track:
        """Return a track; one in ISO layout knows where it lies."""
        seed = seed_of(self._disk.seed, "drive", drive)
        if isinstance(layout, IsoLayout | ImageLayout):
            layout = layout.model_copy(update={"cylinder": cylinder, "head": side})
        if isinstance(layout, ImageLayout):
            return self._from_image(layout, drive, cylinder, side)
        return layout.build(seed, self._folder)

    def _from_image(self, layout: ImageLayout, drive: int, cylinder: int, side: int) -> Track:
        """Return a track of an image: of a whole disk, side after side, or of one track alone.

        Raises UserError when the image ends before that track.
        """
        data = content_of(beside(self._folder, layout.file), LARGEST_IMAGE)
        length = layout.sectors * layout.size
        number = 0 if len(data) == length else cylinder * self._sides[drive] + side
        part = data[number * length : (number + 1) * length]
        if len(part) < length:
            raise UserError(
                f"{layout.file}: ends before cylinder {cylinder}, side {side}: it has"
                f" {len(data) // length} tracks of {length} bytes"
            )
        return image_track(part, layout.sectors, layout.size, **layout.gaps, **layout.which)
