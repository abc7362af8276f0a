"""A sheet as SVG, whole in itself: no script, no font to load, light or dark as its reader is."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from importlib import resources
from math import floor, log10

from refmodel.report.drawing.sheet import Drawn, Flag, Piece, Sheet
from refmodel.report.numbers import time_text

STYLE = resources.files("refmodel.report.drawing") / "drawing.css"
GUTTER, LETTER = 112, 6.7  # of the names; columns of a text
HEAD, FLAG_HEIGHT, VALUE_HEIGHT, BOX, GAP = 40, 24, 20, 16, 6
WRONG_HEIGHT, LEAST_WRONG = 4, 6
FLAGS = ("on", "off")


def svg(sheet: Sheet, width: int = 960) -> str:
    """Return the SVG, `width` pixels wide where there is room, and as high as its lanes."""
    rows = list(_rows(sheet.lanes))
    height = rows[-1][0] + rows[-1][1] + GAP if rows else HEAD
    scale = _Scale(sheet, width)
    parts = [
        *_band(sheet.flag, scale, height),
        *_ticks(sheet, scale, height),
        *(part for y, h, lane in rows for part in _lane(lane, y, h, scale)),
        *_flag(sheet.flag, scale),
        *_cursor(sheet.at, scale, height),
    ]
    style = STYLE.read_text(encoding="utf-8")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="cellstep" role="img"'
        f' viewBox="0 0 {width} {height}" width="{width}" style="max-width:100%;height:auto">'
        f"<title>{escape(sheet.label)}</title><style>{style}</style>"
        f"{_rect(0, 0, width, height, 'paper')}{''.join(parts)}</svg>\n"
    )


class _Scale:
    """From cycles to pixels."""

    def __init__(self, sheet: Sheet, width: int) -> None:
        self.width = width
        self.first, self.end = sheet.first, max(sheet.end, sheet.first + 1)
        self.per_cycle = (width - GUTTER - 8) / (self.end - self.first)

    def x(self, cycle: float) -> float:
        """Return where a cycle begins, within what is drawn."""
        at = min(max(cycle, self.first), self.end)
        return round(GUTTER + (at - self.first) * self.per_cycle, 1)


def _rows(lanes: tuple[Drawn, ...]) -> Iterator[tuple[int, int, Drawn]]:
    """Yield top and height of each lane."""
    y = HEAD
    for lane in lanes:
        height = FLAG_HEIGHT if _is_flag(lane) else VALUE_HEIGHT * (2 if lane.core else 1)
        yield y, height, lane
        y += height + GAP


def _is_flag(lane: Drawn) -> bool:
    return all(piece.kind in FLAGS for piece in lane.pieces)


def _ticks(sheet: Sheet, scale: _Scale, height: int) -> Iterator[str]:
    """Yield the scale: a thin line at round numbers of cycles, with cycle and time."""
    if sheet.cycle_ns is None:
        return
    about = (scale.end - scale.first) / (scale.width / 170)
    power = 10 ** floor(log10(about))
    step = max(1, next(n * power for n in (1, 2, 5, 10) if n * power >= about))
    at = -(-scale.first // step) * step
    while at < scale.end:
        x = scale.x(at)
        yield _line(((x, 20), (x, height)), "rule", 1)
        if x < scale.width - 130:
            said = f"{at:g}, {time_text(at * sheet.cycle_ns)}"
            yield _text(x + 3, 32, said, "soft")
        at += step


def _band(flag: Flag | None, scale: _Scale, height: int) -> Iterator[str]:
    if flag is not None:
        x0, x1 = scale.x(flag.start), scale.x(flag.end)
        colour = "band" if flag.wrong else "rule"
        yield _rect(x0, 18, max(3, x1 - x0), height - 18, colour)


def _flag(flag: Flag | None, scale: _Scale) -> Iterator[str]:
    """Yield the flag over its band, to the left of it where there is no room on the right."""
    if flag is None:
        return
    x, wide = scale.x(flag.start), len(flag.text) * LETTER + 10
    left = x if x + wide < scale.width else max(0.0, x - wide)
    yield _rect(left, 0, wide, 18, "wrong" if flag.wrong else "lit")
    yield _text(left + 5, 13, flag.text, "wrong-ink" if flag.wrong else "lit-ink")


def _cursor(at: int | None, scale: _Scale, height: int) -> Iterator[str]:
    if at is not None:
        x = scale.x(at + 0.5)
        yield _line(((x, 20), (x, height)), "cursor", 1, dashed=True)


def _lane(lane: Drawn, y: int, height: int, scale: _Scale) -> Iterator[str]:
    """Yield one lane: where it is wrong, the core as a fill, the model as an outline."""
    yield _text(0, y + 15, lane.name, "ink")
    for start, end in lane.wrong:
        x0, x1 = scale.x(start), scale.x(end)
        wide = max(LEAST_WRONG, x1 - x0)
        yield _rect(x0, y, wide, height, "band")
        yield _rect(x0, y + height, wide, WRONG_HEIGHT, "wrong")
    if _is_flag(lane):
        filled, colour = (lane.pieces, "tint") if lane.core is None else (lane.core, "core")
        yield from _filled(filled, y, scale, colour)
        yield _stepped(lane.pieces, y, scale)
        return
    yield from _values(lane.pieces, y, scale, core=False)
    if lane.core:
        yield _text(GUTTER - 38, y + 34, "core", "soft")
        yield from _values(lane.core, y + VALUE_HEIGHT, scale, core=True)


def _filled(pieces: tuple[Piece, ...], y: int, scale: _Scale, colour: str) -> Iterator[str]:
    for piece in pieces:
        x0, x1 = scale.x(piece.start), scale.x(piece.end)
        if piece.text:
            yield _text(x0 + 2, y + 15, piece.text, "ink")
        elif piece.kind == "on":
            yield _rect(x0, y + 5, max(1, x1 - x0), 15, colour)


def _stepped(pieces: tuple[Piece, ...], y: int, scale: _Scale) -> str:
    """Return a flag of the model as one line that steps up and down."""
    points: list[tuple[float, float]] = []
    for piece in pieces:
        level = y + (2 if piece.kind == "on" else 21)
        points += [(scale.x(piece.start), level), (scale.x(piece.end), level)]
    return _line(points, "model", 2)


def _values(pieces: tuple[Piece, ...], y: int, scale: _Scale, core: bool) -> Iterator[str]:
    """Yield boxes with their text where it fits, and marks with a text beside them."""
    for n, piece in enumerate(pieces):
        x0, x1 = scale.x(piece.start), scale.x(piece.end)
        wide = len(piece.text) * LETTER + 6
        if piece.kind == "mark":
            yield _rect(x0, y + 2, 3, BOX - 2, "core" if core else "model")
            room = scale.x(pieces[n + 1].start) if n + 1 < len(pieces) else scale.width
            if x0 + wide < room:
                yield _text(x0 + 5, y + 13, piece.text, "ink")
            continue
        lit = piece.kind == "lit"
        if core or lit:
            yield _rect(x0 + 1, y + 1, max(1, x1 - x0 - 2), BOX, "lit" if lit else "core")
        else:
            yield _frame(x0 + 1, y + 1, max(1, x1 - x0 - 2), BOX)
        if wide < x1 - x0:
            ink = "lit-ink" if lit else "core-ink" if core else "ink"
            yield _text(x0 + 4, y + 13, piece.text, ink)


def _rect(x: float, y: float, width: float, height: float, colour: str) -> str:
    size = f'x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}"'
    return f'<rect {size} style="fill:var(--{colour})"/>'


def _frame(x: float, y: float, width: float, height: float) -> str:
    size = f'x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}"'
    return f'<rect {size} style="fill:none;stroke:var(--model)"/>'


def _line(
    points: list[tuple[float, float]] | tuple[tuple[float, float], ...],
    colour: str,
    width: int,
    dashed: bool = False,
) -> str:
    path = " ".join(f"{x:g},{y:g}" for x, y in points)
    dash = ";stroke-dasharray:4 3" if dashed else ""
    style = f"fill:none;stroke:var(--{colour});stroke-width:{width}{dash}"
    return f'<polyline points="{path}" style="{style}"/>'


def _text(x: float, y: float, text: str, colour: str) -> str:
    return f'<text x="{x:g}" y="{y:g}" style="fill:var(--{colour})">{escape(text)}</text>'
