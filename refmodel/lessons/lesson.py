"""What a lesson is made of."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import Any

from refmodel.report.drawing.sheet import Drawn


@dataclass(frozen=True)
class Result:
    """What the model found with the sliders in one position; `numbers` are its bare results."""

    text: str
    lanes: tuple[Drawn, ...] = ()
    numbers: tuple[float, ...] = ()


Results = dict[tuple[int, ...], Result]


@dataclass(frozen=True)
class Knob:
    """A slider: what it sets, the values it can take, and the one it begins at."""

    label: str
    options: tuple[str, ...]
    start: int = 0


@dataclass(frozen=True)
class Lesson:
    """One page. `results` has the model's result of every position of the sliders."""

    name: str
    title: str
    idea: tuple[str, ...]
    question: str
    choices: tuple[str, ...]
    right: int
    answer: str
    task: str
    knobs: tuple[Knob, ...]
    results: Results

    def __post_init__(self) -> None:
        positions = set(product(*(range(len(knob.options)) for knob in self.knobs)))
        if positions != set(self.results):
            raise ValueError(f"lesson {self.name}: a position of its sliders has no result")

    @property
    def start(self) -> Result:
        """The result the page opens with."""
        return self.results[tuple(knob.start for knob in self.knobs)]

    def data(self) -> dict[str, Any]:
        """Return what the page's script needs."""
        return {
            "knobs": [list(knob.options) for knob in self.knobs],
            "right": self.right,
            "results": {
                ",".join(map(str, at)): {
                    "text": result.text,
                    "lanes": [[lane.name, lane.pieces] for lane in result.lanes],
                }
                for at, result in self.results.items()
            },
        }
