"""The form of `cellstep link --json`; `docs/reference/pins.schema.json` is written from this."""

from __future__ import annotations

from typing import Literal, NotRequired

from typing_extensions import TypedDict


class LinkForm(TypedDict):
    """The serial link, as the plan's file has it, and how long it is busy."""

    speed: int
    """The speed of the two wires in Hz."""
    pins: int
    """The pins it takes."""
    queue: Literal["each", "latest"]
    """Whether each change is sent, or the latest state."""
    read: Literal["with_register", "without_register"]
    """Whether a read first names the register."""
    poll_us: float
    """From one read of the inputs to the next; 0 for as often as the bus allows."""
    used: bool
    """Whether the plan has a link at all."""
    write_us: NotRequired[float]
    """How long a write keeps the wires busy; only if the link is used."""
    read_us: NotRequired[float]
    """How long a read keeps the wires busy; only if the link is used."""


class PlacedForm(TypedDict):
    """A signal, and where it goes."""

    name: str
    """Its name."""
    direction: Literal["in", "out"]
    """Out to the drive, or in from it."""
    on: Literal["pin", "link"]
    """Whether it has a pin or goes through the link."""
    bank: int | None
    """The bank of the expander, 0 or 1; null on a pin."""
    typical_us: float
    """Its typical delay."""
    worst_us: float
    """Its longest delay."""
    deadline_us: float
    """Its deadline, from the plan's file."""
    slack_us: float
    """The deadline less the longest delay."""
    why_pin: str
    """Why it needs a pin; empty if it does not."""
    hold_us: float
    """How long a pulse must be held so that the link does not lose it; 0 if any passes."""


class PinsForm(TypedDict):
    """A plan of the pins."""

    plan: str
    """The plan's name."""
    feasible: bool
    """Whether a plan is possible."""
    pins: int
    """Free pins."""
    link: LinkForm
    """The serial link."""
    refused: list[str]
    """Why no plan is possible; empty if one is."""
    signals: list[PlacedForm]
    """Every signal and its place."""
    cautions: list[str]
    """What to mind before anything is wired."""
