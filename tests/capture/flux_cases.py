"""Captured flux made up for tests: revolutions of a known track, as a drive would read them."""

import numpy as np

from refmodel.media import flux_build
from refmodel.media.flux_defects import Defects
from refmodel.media.flux_list import FluxList
from refmodel.media.track import iso_track

BIT_NS = 2000.0


def captured(track, defects=None, revolutions=3, seed=1):
    """Return the flux of some revolutions of a track, index pulses included."""
    defects = defects or Defects()
    written = flux_build.write(track, BIT_NS, defects)
    read = [flux_build.read(written, defects, seed, turn) for turn in range(revolutions)]
    index = [r.start_ns for r in read] + [read[-1].end_ns]
    return FluxList(np.concatenate([r.ns for r in read]), np.array(index))


def plain_track():
    """Return a track of nine sectors of 512 bytes E5, whose check codes are published."""
    return iso_track(data=[b"\xe5" * 512] * 9)


def write_text(path, flux, unit_ns=1.0, head=()):
    """Write flux as a text list of whole units."""
    ticks = np.rint(flux.ns / unit_ns).astype(int)
    index = " ".join(str(round(t / unit_ns)) for t in flux.index_ns)
    lines = [*head, f"index {index}", *map(str, np.diff(ticks, prepend=0))]
    path.write_text("\n".join(lines) + "\n")
    return path
