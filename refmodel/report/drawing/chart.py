"""Charts in the project's own look: lines and cells of what was measured, nothing in between."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from html import escape
from importlib import resources
from math import ceil, floor, log10

STYLE = resources.files("refmodel.report.drawing") / "drawing.css"
LEFT, RIGHT, TOP, BOTTOM = 70, 120, 34, 44
COLOURS = ("model", "core", "cursor", "soft")
DASHES = ("", "7 4", "2 3", "9 3 2 3")
LETTER = 6.7
MOST_MARKED = 8  # values along an axis

Point = tuple[float, float]


@dataclass(frozen=True)
class Axis:
    """One axis: what it shows, from where to where, and whether it is logarithmic.

    `marked` are the values written along it; without them round ones are.
    """

    label: str
    low: float
    high: float
    log: bool = False
    marked: tuple[float, ...] = ()

    def at(self, value: float) -> float:
        """Return where a value lies, 0 at the low end and 1 at the high one."""
        low, high, value = (self._scaled(v) for v in (self.low, self.high, value))
        return min(1.0, max(0.0, (value - low) / ((high - low) or 1)))

    def _scaled(self, value: float) -> float:
        return log10(max(value, 1e-12)) if self.log else value

    def ticks(self, about: int = 6) -> list[float]:
        """Return round values along the axis."""
        if self.marked:
            return list(self.marked[:: ceil(len(self.marked) / MOST_MARKED)])
        if self.log:
            exponents = range(ceil(log10(self.low) - 1e-9), floor(log10(self.high) + 1e-9) + 1)
            return [10.0**n for n in exponents]
        wide = (self.high - self.low) / about
        if wide <= 0:
            return [self.low]
        power = 10 ** floor(log10(wide))
        step = next(n * power for n in (1, 2, 5, 10) if n * power >= wide * 0.999)
        return [
            round(n * step, 9) for n in range(ceil(self.low / step), floor(self.high / step) + 1)
        ]


@dataclass
class Chart:
    """A chart that lines, cells and marks are put into; `svg` returns it whole."""

    title: str
    x: Axis
    y: Axis
    width: int = 620
    height: int = 320
    parts: list[str] = field(default_factory=list)
    _ends: list[tuple[float, str, str]] = field(default_factory=list)

    def px(self, value: float) -> float:
        """Return the pixel of a value of x."""
        return round(LEFT + self.x.at(value) * (self.width - LEFT - RIGHT), 1)

    def py(self, value: float) -> float:
        """Return the pixel of a value of y."""
        return round(self.height - BOTTOM - self.y.at(value) * (self.height - TOP - BOTTOM), 1)

    def line(self, number: int, name: str, points: Sequence[Point]) -> None:
        """Draw what was measured as one of up to four lines, named at its end."""
        colour, dash = COLOURS[number % 4], DASHES[number % 4]
        if not points:
            return
        path = " ".join(f"{self.px(x):g},{self.py(y):g}" for x, y in points)
        style = f"fill:none;stroke:var(--{colour});stroke-width:2;stroke-dasharray:{dash or 'none'}"
        self.parts.append(f'<polyline points="{path}" style="{style}"/>')
        self._ends.append((self.py(points[-1][1]), name, colour))

    def dot(self, number: int, point: Point, said: str, hollow: bool = False) -> None:
        """Mark one measurement; a hollow one is a bound, not a value."""
        colour = COLOURS[number % 4]
        style = f"stroke:var(--{colour});fill:{'var(--paper)' if hollow else f'var(--{colour})'}"
        x, y = self.px(point[0]), self.py(point[1])
        shape = f"M{x - 3:g} {y - 3:g}h6l-3 6z" if hollow else f"M{x - 2:g} {y - 2:g}h4v4h-4z"
        self.parts.append(f'<path d="{shape}" style="{style}"><title>{escape(said)}</title></path>')

    def upright(self, value: float, said: str) -> None:
        """Draw a thin line at a value of x."""
        x = self.px(value)
        style = "stroke:var(--soft);stroke-dasharray:2 3"
        self.parts.append(
            f'<line x1="{x}" x2="{x}" y1="{TOP}" y2="{self.height - BOTTOM}" style="{style}">'
            f"<title>{escape(said)}</title></line>"
        )

    def cell(self, box: tuple[float, float, float, float], level: float, text: str) -> None:
        """Fill from x0 to x1 and y0 to y1, the darker the higher the level of 0 to 1."""
        x0, x1, y1, y0 = self.px(box[0]), self.px(box[1]), self.py(box[2]), self.py(box[3])
        place = f'x="{x0:g}" y="{y0:g}" width="{x1 - x0:g}" height="{y1 - y0:g}"'
        fill = f"fill:var(--core);fill-opacity:{level:.2f};stroke:var(--paper)"
        self.parts.append(f'<rect {place} style="{fill}"><title>{escape(text)}</title></rect>')
        if len(text) * LETTER < x1 - x0 and y1 - y0 > 12:
            self.parts.append(self._text((x0 + x1) / 2, (y0 + y1) / 2 + 4, text, "ink", "middle"))

    def edge(self, one: Point, other: Point) -> None:
        """Draw a thick line from one point to another."""
        ends = (self.px(one[0]), self.py(one[1]), self.px(other[0]), self.py(other[1]))
        place = 'x1="{:g}" y1="{:g}" x2="{:g}" y2="{:g}"'.format(*ends)
        self.parts.append(f'<line {place} style="stroke:var(--wrong);stroke-width:3"/>')

    def svg(self) -> str:
        """Return the chart as SVG."""
        inside = "".join((*self._frame(), *self.parts, *self._names()))
        style = STYLE.read_text(encoding="utf-8")
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="cellstep" role="img"'
            f' viewBox="0 0 {self.width} {self.height}" width="{self.width}"'
            f' style="max-width:100%;height:auto"><title>{escape(self.title)}</title>'
            f"<style>{style}</style>"
            f'<rect width="{self.width}" height="{self.height}" style="fill:var(--paper)"/>'
            f"{inside}</svg>\n"
        )

    def _frame(self) -> Iterator[str]:
        """Yield title, labels, and a thin line at each round value."""
        yield self._text(0, 14, self.title, "ink")
        foot, right = self.height - BOTTOM, self.width - RIGHT
        yield self._text(LEFT, self.height - 8, self.x.label, "soft")
        yield self._text(0, TOP - 6, self.y.label, "soft")
        for value in self.x.ticks():
            x = self.px(value)
            yield self._rule(x, TOP, x, foot)
            yield self._text(x, foot + 15, f"{value:g}", "soft", "middle")
        for value in self.y.ticks():
            y = self.py(value)
            yield self._rule(LEFT, y, right, y)
            yield self._text(LEFT - 6, y + 4, f"{value:g}", "soft", "end")

    def _names(self) -> Iterator[str]:
        """Yield the names at the ends of the lines, apart from each other."""
        last = 0.0
        for y, name, colour in sorted(self._ends):
            last = max(y, last + 13)
            yield self._text(self.width - RIGHT + 6, last + 4, name, colour)

    def _rule(self, x1: float, y1: float, x2: float, y2: float) -> str:
        place = f'x1="{x1:g}" y1="{y1:g}" x2="{x2:g}" y2="{y2:g}"'
        return f'<line {place} style="stroke:var(--rule)"/>'

    def _text(self, x: float, y: float, text: str, colour: str, anchor: str = "start") -> str:
        style = f"fill:var(--{colour});text-anchor:{anchor}"
        return f'<text x="{x:g}" y="{y:g}" style="{style}">{escape(text)}</text>'
