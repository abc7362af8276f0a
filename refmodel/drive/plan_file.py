"""A pin plan's file: free pins, the link, the signals and their times, what comes before what."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Annotated, ClassVar, Literal

from pydantic import Field as Key

from refmodel.drive.link_settings import SPEEDS, Speed
from refmodel.ground.errors import InputError, Problem, UserError, near
from refmodel.ground.yamlfile import Document, Schema, load

PLANS = Path(str(resources.files("refmodel"))) / "drive" / "plans"
Time = Annotated[float, Key(ge=0, le=60_000_000)]
MOST_SIGNALS = 32


class PlanLink(Schema):
    """The serial link: its speed, the pins it takes, and how it is used."""

    speed: Speed = SPEEDS[1]
    """The speed of the two wires in Hz: 100000, 400000 or 1000000."""
    pins: int = Key(2, ge=2, le=4)
    """The pins it takes."""
    queue: Literal["each", "latest"] = "latest"
    """`each` sends every change as its own transfer; `latest` sends the state of the lines when a
    transfer starts."""
    read: Literal["with_register", "without_register"] = "with_register"
    """Whether a read first names the register."""
    poll_us: Time = 0
    """From one read of the inputs to the next; 0 for as often as the bus allows."""


class PlanSignal(Schema):
    """One signal: its direction and its deadline."""

    now_called: ClassVar[Mapping[str, str]] = {"way": "direction"}

    direction: Literal["in", "out"]
    """Out to the drive, or in from it."""
    deadline_us: Annotated[float, Key(gt=0, le=60_000_000)]
    """The longest time after a change until it has arrived, or is seen."""
    shortest_pulse_us: Time | None = None
    """The shortest pulse that must pass."""
    may_stretch: bool = False
    """A longer pulse will do."""
    on: Literal["pin", "any"] = "any"
    """`pin`: it gets a pin in any case."""
    source: str = ""
    """The source of the figures."""


class OrderRule(Schema):
    """One signal must have arrived before another does."""

    first: str
    """The signal that must have arrived."""
    then: str
    """The one that waits for it."""
    gap_us: Time = 0
    """The shortest time between the two."""


class PlanFile(Schema):
    """One plan file."""

    name: str
    """The plan's name."""
    about: str = ""
    """A sentence about it."""
    pins: int = Key(ge=1, le=256)
    """How many pins are free, those of the link among them."""
    link: PlanLink = PlanLink()
    """The serial link."""
    signals: dict[str, PlanSignal] = Key(min_length=1, max_length=MOST_SIGNALS)
    """The signals by name, each with its times; up to 32."""
    order: list[OrderRule] = Key([])
    """Signals that must come in order."""


def load_plan(name: str) -> PlanFile:
    """Load a plan's file, or a shipped plan by name; raise InputError with every fault in it."""
    shipped = {path.stem: path for path in PLANS.glob("*.yaml")}
    path = shipped.get(name, Path(name))
    if name not in shipped and path.suffix not in (".yaml", ".yml"):
        raise UserError(f"plan '{name}': no such plan or YAML file{near(name, shipped)}")
    document = load(path)
    plan = document.validate(PlanFile)
    problems = _order_faults(document, plan)
    if problems:
        raise InputError(problems)
    return plan


def _order_faults(document: Document, plan: PlanFile) -> list[Problem]:
    """Return what is wrong with the order constraints: unknown names, inputs, a cycle."""
    problems = []
    for n, order in enumerate(plan.order):
        for key, name in (("first", order.first), ("then", order.then)):
            place = ("order", n, key)
            if name not in plan.signals:
                message = f"'{name}' is no signal of the plan{near(name, plan.signals)}"
                problems.append(document.problem(place, message))
            elif plan.signals[name].direction == "in":
                message = f"'{name}' is an input; order is kept among outputs"
                problems.append(document.problem(place, message))
    circle = [] if problems else circle_of(plan.order)
    if circle:
        n = next(n for n, o in enumerate(plan.order) if (o.first, o.then) == circle[-1])
        way = " -> ".join([circle[0][0], *(then for _, then in circle)])
        message = f"'{way}' goes round in a circle; leave one of these out"
        problems.append(document.problem(("order", n), message))
    return problems


def circle_of(orders: list[OrderRule]) -> list[tuple[str, str]]:
    """Return the constraints of a circle, in its order; none if there is no circle."""
    after: dict[str, list[str]] = {}
    for order in orders:
        after.setdefault(order.first, []).append(order.then)
    done: set[str] = set()

    def walk(name: str, path: list[str]) -> list[str]:
        if name in path:
            return [*path[path.index(name) :], name]
        if name in done:
            return []
        for following in after.get(name, []):
            found = walk(following, [*path, name])
            if found:
                return found
        done.add(name)
        return []

    circle = next((found for name in after if (found := walk(name, []))), [])
    return list(itertools.pairwise(circle))
