"""The flux of a recorded read-data line, with the index line beside it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from refmodel.capture.capture_map import CaptureMap, load_map
from refmodel.capture.columns import TablePart
from refmodel.capture.map_parts import DiskPart, Line
from refmodel.capture.opened import open_recording
from refmodel.capture.recovery import without_glitches
from refmodel.capture.waves import Recording, SignalChanges, Times, find_signal
from refmodel.ground.errors import InputError, UserError
from refmodel.ground.yamlfile import Document, Schema, load
from refmodel.media.flux_list import FluxList


class TrackMap(Schema):
    """The part of a map that a track needs: the lines of the drive, and how a table is read."""

    disk: DiskPart
    """The lines of the drive: `flux` and `index`."""
    file: TablePart = TablePart()
    """How a table is read."""
    glitch_ns: float = 0.0
    """Shorter pulses are left out."""


def is_write_map(path: Path) -> bool:
    """Tell whether a map names a write gate: what a capture holds is then a write."""
    data = load(path).data
    lines = data.get("lines") if isinstance(data, dict) else None
    return isinstance(lines, dict) and "write_gate" in lines


def flux_of_wave(path: Path, map_path: Path) -> FluxList:
    """Return the pulses and index pulses of a waveform.

    Raises UserError for a map without `disk.flux`, or a line that never goes active.
    """
    document = load(map_path)
    whole = isinstance(document.data, dict) and "clock" in document.data
    given: CaptureMap | TrackMap = load_map(map_path) if whole else document.validate(TrackMap)
    if given.disk.flux is None:
        message = "needs flux: the read-data line of the drive"
        raise InputError([document.problem(("disk",), message)])
    recording = open_recording(path, given.file)
    lines = {"flux": given.disk.flux, "index": given.disk.index}
    found = {key: line for key, line in lines.items() if line is not None}
    edges = _edges(recording, found, given.glitch_ns, document)
    if not len(edges["flux"]):
        what = "never goes active; is its level right?"
        if given.glitch_ns:
            what = (
                f"is never active for {given.glitch_ns:g} ns, the glitch_ns of the map; are its"
                " level and the unit of time right?"
            )
        raise UserError(f"{path}: '{given.disk.flux.signal}' {what}")
    return FluxList(edges["flux"], edges.get("index", np.empty(0)))


def _edges(
    recording: Recording, lines: dict[str, Line], glitch_ns: float, document: Document
) -> dict[str, Times]:
    """Return when each line goes active."""
    names = {}
    for key, line in lines.items():
        try:
            (names[key],) = find_signal(recording, str(line.signal))
        except UserError as error:
            raise InputError([document.problem(("disk", key), str(error))]) from None
    held = {key: SignalChanges.none() for key in lines}
    for piece in recording.pieces(list(names.values())):
        for key, name in names.items():
            if name in piece.changes:
                held[key] = held[key].then(piece.changes[name])
    return {
        key: _active(without_glitches(changes, glitch_ns), lines[key].active == "low")
        for key, changes in held.items()
    }


def _active(changes: SignalChanges, low: bool) -> Times:
    """Return when a line goes active, its first value not counted."""
    active = ((changes.value & np.uint64(1)) != 0) != low
    active &= (changes.unknown & np.uint64(1)) == 0
    return np.asarray(changes.ns[1:][active[1:] & ~active[:-1]])
