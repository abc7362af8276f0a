"""The pulses of a run folded on the window they fell into, core over model."""

from __future__ import annotations

from contextlib import suppress

import numpy as np
from numpy.typing import NDArray

from refmodel.engine.finding import Shown
from refmodel.ground.errors import UserError
from refmodel.report.drawing.chart import Axis, Chart
from refmodel.report.numbers import grouped
from refmodel.report.result import Scope
from refmodel.report.traffic import phase_errors
from refmodel.separator import leap

MODEL = "second_order"


def folded_pulses(shown: Shown, scope: Scope) -> str:
    """Return the chart of a core with its own separator, as SVG; nothing for any other run.

    A bar a cycle of the window: how many pulses of the core's fell there. The line is the same of
    a model separator on the same pulses.
    """
    pulses = shown.stimulus.pulses.cycle
    if not len(pulses) or shown.stimulus.separated is not None:
        return ""
    half = float(scope.profile.cycles_per_bit) / 2
    edges = np.arange(-int(half) - 1, int(half) + 2) - 0.5
    core = np.histogram(phase_errors(shown)[1], edges)[0]
    model = np.histogram(_of_model(pulses, scope), edges)[0]
    most = max(int(core.max()), int(model.max()), 1)
    title = f"{grouped(len(pulses))} pulses on their window: bars the core, line {MODEL}"
    x = Axis("cycles from the middle of the window", float(edges[0]), float(edges[-1]))
    chart = Chart(title, x, Axis("pulses", 0, most))
    for low, high, count in zip(edges[:-1], edges[1:], core.tolist(), strict=True):
        if count:
            chart.cell((float(low), float(high), 0, count), 1.0, "")
    for side in (-half, half):
        chart.upright(side, "end of the window")
    steps = [
        (float(x), float(n)) for n, *xs in zip(model, edges, edges[1:], strict=False) for x in xs
    ]
    chart.line(0, MODEL, steps)
    return chart.svg()


def _of_model(pulses: NDArray[np.int64], scope: Scope) -> NDArray[np.float64]:
    """Return the errors of a model separator on the same pulses; none where it does not fit."""
    profile = scope.profile.on_one_clock()
    with suppress(UserError):
        made = profile.make_separator(MODEL)
        made.cycle = int(pulses[0]) - 1
        phase = leap.follow(made, pulses).phase / made.one
        return np.asarray(phase, np.float64)
    return np.empty(0)
