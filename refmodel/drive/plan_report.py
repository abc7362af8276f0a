"""A pin plan as a table, as plain data, and as a picture."""

from __future__ import annotations

import io
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from refmodel.drive.cautions import CAUTIONS
from refmodel.drive.plan_search import Placed, Plan
from refmodel.drive.plan_times import LinkTimes, Shape

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from rich.table import Table

COLOURS = {None: "#0072b2", 0: "#e69f00", 1: "#009e73"}  # told apart by all kinds of eyes


def where(placed: Placed) -> str:
    """Return where a signal stands."""
    return "pin" if placed.bank is None else f"bank {placed.bank}"


def plan_table(plan: Plan) -> Table:
    """Return a row for each signal: where it stands, how late it comes, what is left."""
    from rich.table import Table

    file = plan.file
    through = f"link {file.link.speed // 1000} kHz on {file.link.pins}"
    shown = Table(
        title=f"Plan {file.name}: {len(plan.placed)} signals on {file.pins} pins, {through}",
        title_justify="left",
    )
    shown.add_column("signal")
    shown.add_column("direction")
    shown.add_column("on")
    for head in ("typical us", "worst us", "deadline us", "slack us"):
        shown.add_column(head, justify="right")
    for p in plan.placed:
        numbers = (p.typical, p.worst, Fraction(str(p.signal.deadline_us)), p.slack)
        shown.add_row(p.name, p.signal.direction, where(p), *(f"{float(n):.1f}" for n in numbers))
    return shown


def plan_notes(plan: Plan) -> list[str]:
    """Return why each pin is taken, what the banks cost, and the cautions."""
    lines = [f"{p.name} needs a pin: {p.why_pin}" for p in plan.direct if p.why_pin]
    lines += [
        f"{p.name}: hold each pulse for at least {float(p.hold):g} us; the link may lose a shorter"
        " one. queue: each sends every change"
        for p in plan.placed
        if p.hold
    ]
    return [*lines, *_banks(plan), "", *CAUTIONS]


def _banks(plan: Plan) -> list[str]:
    """Say what a write and a read take, and what they would if banks were mixed."""
    if plan.times is None:
        return ["Every signal has a pin; no link is needed."]
    times, shape = plan.times, plan.times.shape
    mixed = LinkTimes(times.link, Shape(shape.outputs, 2, 2))
    pair = [(t.occupied(t.write), t.occupied(t.read)) for t in (times, mixed)]
    (write, read), (mixed_write, mixed_read) = [tuple(map(float, p)) for p in pair]
    if max(shape.output_banks, shape.input_banks) < 2:
        return [
            f"One bank is all outputs, the other all inputs: a write keeps the bus {write:g} us, a"
            f" read {read:g} us. Mixed banks: {mixed_write:g} us and {mixed_read:g} us."
        ]
    return [f"A write keeps the bus {write:g} us, a read {read:g} us; a bank is mixed."]


def plan_json(plan: Plan) -> dict[str, Any]:
    """Return the plan as plain data; times in microseconds."""
    link = plan.file.link
    found: dict[str, Any] = {
        "plan": plan.file.name,
        "feasible": not plan.refused,
        "pins": plan.file.pins,
        "link": {**link.model_dump(), "used": plan.times is not None},
        "refused": list(plan.refused),
        "signals": [
            {
                "name": p.name,
                "direction": p.signal.direction,
                "on": "pin" if p.bank is None else "link",
                "bank": p.bank,
                "typical_us": round(float(p.typical), 3),
                "worst_us": round(float(p.worst), 3),
                "deadline_us": p.signal.deadline_us,
                "slack_us": round(float(p.slack), 3),
                "why_pin": p.why_pin,
                "hold_us": round(float(p.hold), 3),
            }
            for p in plan.placed
        ],
        "cautions": list(CAUTIONS),
    }
    if plan.times is not None:
        times = plan.times
        found["link"]["write_us"] = float(times.occupied(times.write))
        found["link"]["read_us"] = float(times.occupied(times.read))
    return found


def plan_picture(plan: Plan) -> bytes:
    """Return the plan drawn as SVG: each signal's latency and deadline. Same plan, same bytes."""
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context({"svg.hashsalt": "cellstep", "svg.fonttype": "none"}):
        figure = Figure(figsize=(9, 0.34 * len(plan.placed) + 1.6), layout="constrained")
        _draw(figure, plan)
        file = io.BytesIO()
        figure.savefig(file, format="svg", metadata={"Date": None})
    return file.getvalue()


def _draw(figure: Figure, plan: Plan) -> None:
    """Draw a bar a signal up to its worst latency, and a mark at its deadline."""
    least = 0.05  # us: where the axis begins; a pin has no latency to show
    ax = figure.subplots()
    rows = sorted(plan.placed, key=lambda p: (p.bank is not None, p.bank, p.signal.direction))
    for row, p in enumerate(rows):
        deadline = p.signal.deadline_us
        ax.barh(row, max(float(p.worst), least * 1.15), color=COLOURS[p.bank], height=0.6)
        ax.plot(deadline, row, "k|", markersize=12)
        ax.annotate(where(p), (deadline, row), (6, 0), textcoords="offset points", va="center")
    ax.set_yticks(range(len(rows)), [f"{p.name} ({p.signal.direction})" for p in rows])
    ax.invert_yaxis()
    ax.set_xscale("log")
    ax.set_xlim(left=least)
    ax.set_xlabel("us: bar, worst latency; mark, deadline")
    ax.set_title(f"{plan.file.name}: {plan.file.pins} pins, {plan.file.link.speed // 1000} kHz")
