"""Strips of a verdict matrix: what each check measured, and the bounds it is judged by."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

from refmodel.protect.check import ORIGINAL
from refmodel.protect.judge import Measured
from refmodel.protect.matrix import MODEL, Cell, Matrix
from refmodel.protect.text import bounds_words
from refmodel.report.drawing.chart import STYLE

WIDTH, LEFT, RIGHT = 640, 10, 24
NAME_Y, ROW, FOOT = 14, 20, 22  # pixels
WAYS = 12  # marks beside each other are moved apart by up to so many pixels


@dataclass(frozen=True)
class _Mark:
    """One measurement: of which cell."""

    cell: Cell
    measured: Measured


def strips(matrix: Matrix) -> Iterator[str]:
    """Yield one SVG a measure of a check: the bar of its bounds, a row a runner, a mark a run.

    A circle is an original and a cross a copy, both red where the verdict is wrong.
    """
    found: dict[tuple[str, str, str], list[_Mark]] = {}
    for cell in matrix.cells:
        for measured in cell.judgement.measured if cell.judgement else ():
            key = (cell.case.check.name, measured.measure, measured.unit)
            found.setdefault(key, []).append(_Mark(cell, measured))
    for (check, measure, unit), marks in found.items():
        yield _strip(f"{check}: {measure} {unit}".rstrip(), marks, matrix.runners)


def _strip(name: str, marks: list[_Mark], runners: tuple[str, ...]) -> str:
    one = marks[0].measured
    low, high = _range(marks)
    height = NAME_Y + 8 + ROW * len(runners) + FOOT

    def px(value: float) -> float:
        return round(LEFT + 90 + (value - low) / (high - low) * (WIDTH - LEFT - RIGHT - 90), 1)

    top, foot = NAME_Y + 6, height - FOOT
    start = px(one.at_least) if one.at_least is not None else px(low)
    stop = px(one.at_most) if one.at_most is not None else px(high)
    parts = [
        _text(0, NAME_Y - 2, f"{name}; {bounds_words(one)}", "ink"),
        f'<rect x="{start}" y="{top}" width="{max(2, stop - start):g}" height="{foot - top}"'
        ' style="fill:var(--tint);stroke:var(--soft)"/>',
    ]
    for value in _told_values(marks):
        parts.append(_text(px(value), height - 6, f"{value:.4g}", "soft", "middle"))
    for n, runner in enumerate(runners):
        y = top + ROW * n + ROW / 2
        parts.append(_text(0, y + 4, runner, "ink"))
        mine = [mark for mark in marks if mark.cell.runner == runner]
        parts += [
            _drawn(mark, px(mark.measured.value), y + _apart(k)) for k, mark in enumerate(mine)
        ]
    style = STYLE.read_text(encoding="utf-8")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="cellstep" role="img"'
        f' viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" style="max-width:100%;height:auto">'
        f"<title>{escape(name)}</title><style>{style}</style>{''.join(parts)}</svg>"
    )


def _range(marks: list[_Mark]) -> tuple[float, float]:
    """Return from where to where the strip goes: all measurements and bounds, and some room."""
    one = marks[0].measured
    values = [mark.measured.value for mark in marks]
    values += [bound for bound in (one.at_least, one.at_most) if bound is not None]
    wide = (max(values) - min(values)) or max(abs(values[0]), 1)
    return min(values) - 0.06 * wide, max(values) + 0.06 * wide


def _told_values(marks: list[_Mark]) -> list[float]:
    """Return the values written below: the bounds, and the outermost measured ones if apart."""
    one, values = marks[0].measured, [mark.measured.value for mark in marks]
    marked = [bound for bound in (one.at_least, one.at_most) if bound is not None]
    low, high = _range(marks)
    for value in (min(values), max(values)):
        if all(abs(value - other) > (high - low) / 12 for other in marked):
            marked.append(value)
    return marked


def _apart(number: int) -> float:
    """Return by how much a mark is moved up or down, so that equal ones are seen."""
    return (number * 5) % WAYS - WAYS / 2


def _drawn(mark: _Mark, x: float, y: float) -> str:
    cell = mark.cell
    colour = "wrong" if not cell.right else "model" if cell.runner == MODEL else "core"
    title = f"<title>{escape(cell.case.name)}: {mark.measured.value:.5g}</title>"
    if cell.case.kind == ORIGINAL:
        fill = "none" if cell.runner == MODEL else f"var(--{colour})"
        style = f"fill:{fill};stroke:var(--{colour});stroke-width:1.5"
        return f'<circle cx="{x}" cy="{y:g}" r="4" style="{style}">{title}</circle>'
    path = f"M{x - 4:g} {y - 4:g}l8 8m0 -8l-8 8"
    return (
        f'<path d="{path}" style="fill:none;stroke:var(--{colour});stroke-width:2">{title}</path>'
    )


def _text(x: float, y: float, text: str, colour: str, anchor: str = "start") -> str:
    style = f"fill:var(--{colour});text-anchor:{anchor}"
    return f'<text x="{x:g}" y="{y:g}" style="{style}">{escape(text)}</text>'
