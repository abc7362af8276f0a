"""The plots of a margin sweep: error-rate maps, bathtub curves, how the models lock."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from math import log10

from refmodel.margin.result import Bathtub, MapPoint, MarginResult, SubjectResult
from refmodel.report.drawing.chart import Axis, Chart
from refmodel.report.numbers import grouped

EDGE = 1e-3  # errors per pulse: where a map has its thick line
LONG = 6  # characters, too many for a cell
MAP_HEIGHT = 320  # pixels at most
LOWEST = 1e-4  # of the shades: rates below are as pale
ERROR_RATE = "errors per pulse"


def plots(result: MarginResult) -> Iterator[tuple[str, str]]:
    """Yield name and content of every plot, as SVG. The same result gives the same text."""
    for subject in result.subjects:
        for width in sorted({point.pw50_ns for point in subject.map}):
            chart = error_map(subject, width)
            yield f"margin-map-{subject.name}-{width:g}", chart.svg()
    for name, chart in (
        ("margin-bathtub", bathtub(result)),
        ("margin-lock-phase", lock(result, "phase")),
        ("margin-lock-period", lock(result, "period")),
    ):
        yield name, chart.svg()


def error_map(subject: SubjectResult, width: float) -> Chart:
    """Return the error rates of a separator over speed and jitter: a cell a measurement.

    A thick line runs where neighbours lie on both sides of 1 error in 1000 pulses.
    """
    points = [point for point in subject.map if point.pw50_ns == width]
    speeds = sorted({point.speed_percent for point in points})
    jitters = sorted({point.jitter_ns for point in points})
    x = Axis("speed error, %", *_ends(speeds), marked=tuple(speeds))
    y = Axis("jitter (sigma), ns", *_ends(jitters), marked=tuple(jitters))
    shift = points[0].shift_ns
    title = f"{subject.name}: {ERROR_RATE}, peak shift to {shift:.0f} ns"
    chart = Chart(title, x, y, width=520, height=90 + min(34 * len(jitters), MAP_HEIGHT))
    at = {(p.speed_percent, p.jitter_ns): p for p in points}
    boxes = {
        (speed, jitter): (*across, *up)
        for speed, across in zip(speeds, _cells(speeds), strict=True)
        for jitter, up in zip(jitters, _cells(jitters), strict=True)
    }
    for place, box in boxes.items():
        chart.cell(box, _shade(at[place]), _label(at[place]))
    _edges(chart, at, boxes, speeds, jitters)
    return chart


def _edges(
    chart: Chart,
    at: dict[tuple[float, float], MapPoint],
    boxes: dict[tuple[float, float], tuple[float, float, float, float]],
    speeds: list[float],
    jitters: list[float],
) -> None:
    """Draw the line between cells of which one lies above the rate of the edge."""
    high = {place: point.rate > EDGE for place, point in at.items()}
    for n, speed in enumerate(speeds):
        for k, jitter in enumerate(jitters):
            x0, x1, y0, y1 = boxes[speed, jitter]
            if n + 1 < len(speeds) and high[speed, jitter] != high[speeds[n + 1], jitter]:
                chart.edge((x1, y0), (x1, y1))
            if k + 1 < len(jitters) and high[speed, jitter] != high[speed, jitters[k + 1]]:
                chart.edge((x0, y1), (x1, y1))


def _label(point: MapPoint) -> str:
    if not point.errors:
        return "none"
    text = f"{point.rate:.1g}"
    return text if len(text) < LONG else f"{point.rate:.0e}".replace("e-0", "e-")


def _shade(point: MapPoint) -> float:
    """Return how dark a cell is: nothing where no error was seen."""
    if not point.errors:
        return 0.0
    return 0.1 + 0.9 * max(0.0, 1 - log10(point.rate) / log10(LOWEST))


def _cells(values: list[float]) -> list[tuple[float, float]]:
    """Return from where to where each value's cell reaches: half the way to its neighbours."""
    middle = [(one + other) / 2 for one, other in pairwise(values)]
    low, high = _ends(values)
    edges = [low, *middle, high]
    return list(pairwise(edges))


def _ends(values: list[float]) -> tuple[float, float]:
    """Return the outer edges of the outermost cells."""
    first = (values[1] - values[0]) / 2 if len(values) > 1 else 1.0
    last = (values[-1] - values[-2]) / 2 if len(values) > 1 else 1.0
    return values[0] - first, values[-1] + last


def bathtub(result: MarginResult) -> Chart:
    """Return how often a shifted transition is decoded wrong; where none was, only a bound."""
    tub = result.subjects[0].bathtub
    title = (
        f"A shifted transition, decoded wrong: {tub.jitter_ns:.0f} ns of jitter (sigma),"
        f" {grouped(tub.probes)} tries a point"
    )
    x = Axis("shift, ns; upright: half a channel bit", min(tub.shift_ns), max(tub.shift_ns))
    chart = Chart(title, x, Axis("share wrong; hollow: none seen", 0.3 / tub.probes, 1, log=True))
    for side in (-result.bit_ns / 2, result.bit_ns / 2):
        chart.upright(side, "half a channel bit")
    for n, subject in enumerate(result.subjects):
        for number, stretch in enumerate(_seen(subject.bathtub)):
            chart.line(n, "" if number else subject.name, stretch)
        for shift, wrong in zip(subject.bathtub.shift_ns, subject.bathtub.failures, strict=True):
            if not wrong:
                said = f"{subject.name}: none of {subject.bathtub.probes} at {shift:.0f} ns"
                chart.dot(n, (shift, 1 / subject.bathtub.probes), said, hollow=True)
    return chart


def _seen(tub: Bathtub) -> list[list[tuple[float, float]]]:
    """Return the stretches of neighbouring points at which failures were seen, the last first."""
    stretches: list[list[tuple[float, float]]] = [[]]
    for shift, wrong in zip(tub.shift_ns, tub.failures, strict=True):
        if wrong:
            stretches[-1].append((shift, wrong / tub.probes))
        else:
            stretches.append([])
    return [stretch for stretch in reversed(stretches) if stretch]


def lock(result: MarginResult, what: str) -> Chart:
    """Return the models' phase or period through a splice into a preamble."""
    traces = [(s.name, s.lock) for s in result.subjects if s.lock is not None]
    label = "phase error, ns" if what == "phase" else "period, % from the disk's"
    values = [v for _, t in traces for v in (t.phase_ns if what == "phase" else t.period_percent)]
    low, high = min(values, default=-1), max(values, default=1)
    title = f"Locking on, {what}: 3 % slow, then a quarter bit late and 3 % fast"
    x = Axis("channel bits from the splice; the preamble has 192", -50, 300)
    chart = Chart(title, x, Axis(label, low, high if high > low else low + 1))
    for n, (name, trace) in enumerate(traces):
        shown = trace.phase_ns if what == "phase" else trace.period_percent
        times = (ns / result.bit_ns for ns in trace.time_ns)
        points = [(t, v) for t, v in zip(times, shown, strict=True) if -50 <= t <= 300]
        chart.line(n, name, points)
    return chart
