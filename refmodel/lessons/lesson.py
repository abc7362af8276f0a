"""What a lesson is made of."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import Any, NamedTuple

from refmodel.report.drawing.sheet import Drawn, Sheet


@dataclass(frozen=True)
class Result:
    """What the model found with the knobs in one position; `numbers` are its bare results.

    `lanes` are drawn over time, `overview` above them over a time of its own.
    """

    text: str
    lanes: tuple[Drawn, ...] = ()
    numbers: tuple[float, ...] = ()
    overview: tuple[Drawn, ...] = ()


Position = tuple[int, ...]
Results = dict[Position, Result]


@dataclass(frozen=True)
class Knob:
    """What can be set: a quantity on a slider, or one of some choices; and where it begins."""

    label: str
    options: tuple[str, ...]
    start: int = 0
    quantity: bool = True


class Choice(NamedTuple):
    """A guess, and why it is right or fails."""

    text: str
    why: str


@dataclass(frozen=True)
class Task:
    """Something to bring about: the positions of the knobs that do, and why they do."""

    text: str
    done: frozenset[Position]
    why: str


@dataclass(frozen=True)
class Unit:
    """What the axis of a drawing counts, and how long one of it lasts; None for one of time."""

    name: str
    ns: float | None


@dataclass(frozen=True)
class Sketch:
    """A flag to be drawn by hand before it is shown, at one position of the knobs."""

    lane: str
    at: Position
    text: str


@dataclass(frozen=True)
class Curve:
    """How a number depends on a quantity: measured points, and what each guess would have it be.

    `knob` is the number of the knob that sets the quantity; a guess is x and y.
    """

    title: str
    x_label: str
    y_label: str
    points: tuple[tuple[float, float], ...]
    knob: int
    guesses: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Lesson:
    """One page. `results` has the model's result of every position of the knobs.

    `drag` names a lane whose marks can be dragged, and the number of the knob that they turn.
    """

    name: str
    title: str
    clauses: tuple[str, ...]
    idea: tuple[str, ...]
    question: str
    choices: tuple[Choice, ...]
    right: int
    task: Task
    knobs: tuple[Knob, ...]
    results: Results
    unit: Unit
    drag: tuple[str, int] | None = None
    sketch: Sketch | None = None
    curve: Curve | None = None

    def __post_init__(self) -> None:
        positions = set(product(*(range(len(knob.options)) for knob in self.knobs)))
        if positions != set(self.results):
            raise ValueError(f"lesson {self.name}: a position of its knobs has no result")
        if not self.task.done or not self.task.done < positions:
            raise ValueError(f"lesson {self.name}: its task can be neither always done nor never")
        if self.begins in self.task.done:
            raise ValueError(f"lesson {self.name}: its task is done before anything is tried")

    @property
    def begins(self) -> Position:
        """The position the knobs begin in."""
        return tuple(knob.start for knob in self.knobs)

    @property
    def start(self) -> Result:
        """The result the page opens with."""
        return self.results[self.begins]

    @property
    def breaks(self) -> bool:
        """Whether some result shows a core with a mistake."""
        return any(lane.core for result in self.results.values() for lane in result.lanes)

    def sheet(self) -> Sheet:
        """Return the drawing the page opens with."""
        return sheet_of(self.start.lanes, self.start.text, self.unit)

    def data(self) -> dict[str, Any]:
        """Return what the page's script needs."""
        return {
            "knobs": [list(knob.options) for knob in self.knobs],
            "right": self.right,
            "whys": [choice.why for choice in self.choices],
            "done": sorted(",".join(map(str, at)) for at in self.task.done),
            "unit": {"name": self.unit.name, "ns": self.unit.ns},
            "drag": self.drag,
            "sketch": self.sketch
            and {
                "lane": self.sketch.lane,
                "at": ",".join(map(str, self.sketch.at)),
            },
            "curve": self.curve and vars(self.curve),
            "results": {
                ",".join(map(str, at)): {
                    "text": result.text,
                    "lanes": list(_lanes(result.lanes)),
                    "overview": list(_lanes(result.overview)),
                }
                for at, result in self.results.items()
            },
        }


def sheet_of(lanes: tuple[Drawn, ...], label: str, unit: Unit) -> Sheet:
    """Return lanes as a drawing, from their first piece to their last."""
    pieces = [piece for lane in lanes for piece in (*lane.pieces, *(lane.core or ()))]
    first, end = min(p.start for p in pieces), max(p.end for p in pieces)
    return Sheet(first, end, lanes, label, unit.ns)


def _lanes(lanes: tuple[Drawn, ...]) -> Iterator[dict[str, Any]]:
    for lane in lanes:
        yield {"name": lane.name, "model": lane.pieces, "core": lane.core, "wrong": lane.wrong}
