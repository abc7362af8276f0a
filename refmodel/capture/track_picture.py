"""The picture of a track: angle along the x axis, one row a revolution."""

from __future__ import annotations

import io

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from refmodel.capture.track_summary import TrackSummary
from refmodel.media.survey import ID, FieldSeen

DEGREES = 360.0
MOST_ROWS = 40


def track_picture(summary: TrackSummary, form: str) -> bytes:
    """Return the picture as `svg` or `png`.

    A row's colour is the length of its cells; below the rows stand the fields of the track.
    """
    rows = summary.turns.revolutions[:MOST_ROWS]
    figure = Figure(figsize=(12, 2.2 + 0.28 * len(rows)), layout="constrained")
    axes = figure.subplots()
    cells = np.array(summary.cells[: len(rows)])
    widest = max(2.0, float(np.nanmax(np.abs(cells))) if np.isfinite(cells).any() else 0)
    shown = axes.imshow(
        cells,
        aspect="auto",
        cmap="coolwarm",
        vmin=-widest,
        vmax=widest,
        extent=(0, DEGREES, len(rows) + 0.5, 0.5),
        interpolation="nearest",
    )
    figure.colorbar(shown, ax=axes, label="cell length, % from nominal")
    _silences(axes, summary, len(rows))
    _weak(axes, summary, len(rows))
    _fields(axes, summary, len(rows))
    axes.set_xlim(0, DEGREES)
    axes.set_ylim(len(rows) + 2.2, 0.3)
    axes.set_yticks(range(1, len(rows) + 1), [str(r.number) for r in rows])
    axes.set_xlabel("angle from the index pulse, degrees")
    axes.set_ylabel("revolution")
    axes.set_title(summary.name, loc="left")
    return _written(figure, form)


def _angle(summary: TrackSummary, bit: float) -> float:
    return DEGREES * bit / len(summary.bits)


def _silences(axes, summary: TrackSummary, rows: int) -> None:  # type: ignore[no-untyped-def] # noqa: ANN001
    """Draw the stretches without pulses in black."""
    numbers = {r.number: (row, r.length_ns) for row, r in enumerate(summary.turns.revolutions, 1)}
    lines = []
    for silence in summary.silences:
        row, length = numbers[silence.revolution]
        if row <= rows:
            first = DEGREES * silence.at_ns / length
            end = first + DEGREES * silence.length_ns / length
            lines.append([(first, row), (end, row)])
    axes.add_collection(LineCollection(lines, colors="black", linewidths=6))


def _weak(axes, summary: TrackSummary, rows: int) -> None:  # type: ignore[no-untyped-def] # noqa: ANN001
    """Draw the weak regions as hatched stretches over all rows."""
    for region in summary.weak:
        first, end = _angle(summary, region.first), _angle(summary, region.last + 1)
        axes.axvspan(
            first, max(end, first + 0.3), 0, 1, fill=False, hatch="////", edgecolor="darkgreen"
        )
    del rows


def _fields(axes, summary: TrackSummary, rows: int) -> None:  # type: ignore[no-untyped-def] # noqa: ANN001
    """Draw the fields below the rows: grey where the check code is right, red where it is wrong."""
    for part in summary.parts:
        if not isinstance(part, FieldSeen):
            continue
        first, end = _angle(summary, part.first_bit), _angle(summary, part.end_bit)
        colour = "firebrick" if part.crc_ok is False else "grey"
        axes.barh(rows + 1.2, max(end - first, 0.3), left=first, height=0.5, color=colour)
        if part.kind == ID and len(part.body) == 4:
            axes.text(first, rows + 1.95, str(part.body[2]), fontsize=8, ha="center")


def _written(figure: Figure, form: str) -> bytes:
    """Return the figure as a file that is the same each time."""
    file = io.BytesIO()
    if form == "svg":
        FigureCanvasSVG(figure).print_svg(file, metadata={"Date": None})  # type: ignore[no-untyped-call]
    else:
        FigureCanvasAgg(figure).print_png(file)  # type: ignore[no-untyped-call]
    return file.getvalue()
