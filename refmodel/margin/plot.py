"""The plots of a margin sweep: error-rate contours, bathtub curves, how the models lock."""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from refmodel.margin.result import MarginResult, SubjectResult
from refmodel.margin.statistics import rate_limits

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FORMATS = ("png", "svg")
LEVELS = (1e-3, 1e-2, 1e-1)
FLOOR = 1e-4  # rates below are drawn as this: too few pulses were tried to tell
TITLES = {  # of each plot, by the name of its files
    "margin-contours": "Error rates over speed error and jitter",
    "margin-bathtub": "How often a shifted transition is decoded wrong (bathtub curve)",
    "margin-lock": "How the models lock on",
}
LINES = ("solid", "dashed", "dotted", "dashdot")


def plots(result: MarginResult) -> Iterator[tuple[str, bytes]]:
    """Yield name and content of every plot's files. The same result gives the same bytes."""
    import matplotlib

    makers = {"margin-contours": contours, "margin-bathtub": bathtub, "margin-lock": lock}
    # Fixed names of the parts of an SVG, and its text as text: files can be compared and searched.
    with matplotlib.rc_context({"svg.hashsalt": "cellstep", "svg.fonttype": "none"}):
        for name, make in makers.items():
            figure = make(result)
            for form in FORMATS:
                yield f"{name}.{form}", _saved(figure, form)


def _saved(figure: Figure, form: str) -> bytes:
    file = io.BytesIO()
    metadata: dict[str, Any] = {"Date": None} if form == "svg" else {}
    figure.savefig(file, format=form, dpi=110, metadata=metadata)
    return file.getvalue()


def contours(result: MarginResult) -> Figure:
    """Return the error-rate maps, a row a separator and a column a pulse width, then all in one."""
    shifts = dict(sorted((p.pw50_ns, p.shift_ns) for p in result.subjects[0].map))
    widths = list(shifts)
    rows = len(result.subjects) + 1
    figure = _figure(3.6 * len(widths) + 1, 2.7 * rows)
    axes = figure.subplots(rows, len(widths), squeeze=False, sharex=True, sharey=True)
    for row, subject in zip(axes, result.subjects, strict=False):
        for ax, width in zip(row, widths, strict=True):
            drawn = _filled(ax, subject, width)
            ax.set_title(f"{subject.name}, shift to {shifts[width]:.0f} ns", fontsize=9)
    for ax, width in zip(axes[-1], widths, strict=True):
        _overlaid(ax, result, width)
        ax.set_title(f"{LEVELS[0]:g} errors a pulse, PW50 {width / 1000:g} us", fontsize=9)
    for ax in axes[:, 0]:
        ax.set_ylabel("jitter sigma, ns")
    for ax in axes[-1]:
        ax.set_xlabel("speed error, %")
    bar = figure.colorbar(drawn, ax=list(axes[:-1].flat), label="errors a pulse")
    bar.set_ticks([np.log10(rate) for rate in (FLOOR, *LEVELS, 1.0)])
    bar.set_ticklabels([f"{rate:g}" for rate in (FLOOR, *LEVELS, 1.0)])
    return figure


def _grid(subject: SubjectResult, width: float) -> tuple[list[float], list[float], Any]:
    """Return speeds, jitters and the logarithm of the rate of one slice of a map."""
    points = [point for point in subject.map if point.pw50_ns == width]
    speeds = sorted({point.speed_percent for point in points})
    jitters = sorted({point.jitter_ns for point in points})
    rate = {(p.jitter_ns, p.speed_percent): max(p.rate, FLOOR) for p in points}
    return speeds, jitters, np.log10([[rate[j, s] for s in speeds] for j in jitters])


def _filled(ax: Axes, subject: SubjectResult, width: float) -> Any:  # noqa: ANN401
    """Draw one map in colours, with its contours."""
    speeds, jitters, rate = _grid(subject, width)
    levels = np.linspace(np.log10(FLOOR), 0, 25)
    drawn = ax.contourf(speeds, jitters, rate, levels=levels, cmap="viridis_r")
    _lines(ax, subject, width, "white")
    return drawn


def _overlaid(ax: Axes, result: MarginResult, width: float) -> None:
    """Draw the contour of one error in a thousand pulses of every separator."""
    for n, subject in enumerate(result.subjects):
        _lines(ax, subject, width, f"C{n}", levels=LEVELS[:1], style=LINES[n % len(LINES)])
        ax.plot([], [], color=f"C{n}", linestyle=LINES[n % len(LINES)], label=subject.name)
    ax.legend(fontsize=7)


def _lines(
    ax: Axes,
    subject: SubjectResult,
    width: float,
    colour: str,
    levels: tuple[float, ...] = LEVELS,
    style: str = "solid",
) -> None:
    """Draw the contours that the map has; one it does not reach is left out."""
    speeds, jitters, rate = _grid(subject, width)
    inside = [level for level in np.log10(levels) if rate.min() < level < rate.max()]
    if inside:
        ax.contour(
            speeds, jitters, rate, levels=inside, colors=colour, linewidths=1, linestyles=style
        )


def bathtub(result: MarginResult) -> Figure:
    """Return how often a shifted transition is decoded wrong, with 95 % limits."""
    figure = _figure(8, 5)
    ax = figure.subplots()
    for n, subject in enumerate(result.subjects):
        tub = subject.bathtub
        rates = np.array(tub.failures) / tub.probes
        low, high = np.transpose([rate_limits(count, tub.probes) for count in tub.failures])
        floor = 0.3 / tub.probes
        style = LINES[n % len(LINES)]
        ax.fill_between(tub.shift_ns, np.maximum(low, floor), high, color=f"C{n}", alpha=0.15)
        ax.plot(
            tub.shift_ns, np.maximum(rates, floor), f"C{n}", linestyle=style, label=subject.name
        )
    for edge in (-result.bit_ns / 2, result.bit_ns / 2):
        ax.axvline(edge, color="grey", linewidth=0.8, linestyle="dotted")
    ax.set_yscale("log")
    ax.set_xlabel("shift of the transition, ns (dotted: half a channel bit)")
    ax.set_ylabel("decoded wrong")
    ax.set_title(
        f"Bathtub at {tub.jitter_ns:.0f} ns of jitter (sigma), {tub.probes} shifts a point"
    )
    ax.legend()
    return figure


def lock(result: MarginResult) -> Figure:
    """Return the models' phase and period through a splice into a preamble."""
    figure = _figure(8, 6)
    upper, lower = figure.subplots(2, 1, sharex=True)
    for n, subject in enumerate(result.subjects):
        if subject.lock is None:
            continue
        time = np.array(subject.lock.time_ns) / result.bit_ns
        style = {"color": f"C{n}", "linestyle": LINES[n % len(LINES)], "label": subject.name}
        upper.plot(time, subject.lock.phase_ns, **style)
        lower.plot(time, subject.lock.period_percent, drawstyle="steps-post", **style)
    upper.set_title("Lock-in: 3 % slow, then a quarter bit late and 3 % fast, preamble and data")
    upper.set_ylabel("phase error, ns")
    if upper.lines:
        upper.legend()
    lower.set_ylabel("period, % from the disk's")
    lower.set_xlabel("time from the splice, channel bits (the preamble has 192)")
    lower.set_xlim(-50, 300)
    for ax in (upper, lower):
        ax.axhline(0, color="grey", linewidth=0.8, linestyle="dotted")
    return figure


def _figure(width: float, height: float) -> Figure:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), layout="constrained")
    FigureCanvasAgg(figure)
    return figure
