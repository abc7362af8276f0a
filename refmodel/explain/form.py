"""The forms of what `trace` and `explain` write as JSON.

`docs/reference/trace.schema.json` and `explain.schema.json` are written from this.
"""

from __future__ import annotations

from typing import NotRequired

from typing_extensions import TypedDict


class EdgeForm(TypedDict):
    """An edge with an event, and what the model shows after it."""

    cycle: int
    """The cycle that the edge begins."""
    time_ns: float
    """Its time after the start of the run."""
    arrives: str
    """What is sampled at the edge."""
    window: int
    """The last 16 channel bits, the newest in bit 0."""
    sync_word: int
    """The word that the window is compared with."""
    bit_count: int
    """How many bits of the next byte have arrived."""
    byte_ready: int
    """1 if a byte has completed since status was last read."""
    dma_active: int
    """1 while a transfer is active."""
    writing: int
    """1 while the transfer writes to the disk."""
    sync_equal: int
    """1 while the window equals sync_word."""
    data: int
    """The last completed byte."""
    change: str
    """Which fields change, and why; empty if none does."""
    separator_why: str
    """Why a separator model took the bit as it did; empty without one."""
    core: NotRequired[dict[str, int | None]]
    """What a recorded core shows, by field; null if unknown."""
    core_differs: NotRequired[str]
    """What the core shows that the model does not; empty if they agree."""


class StoryForm(TypedDict):
    """A moment of a run, and each edge around it."""

    scenario: str
    """The scenario's name."""
    profile: str
    """The profile's name."""
    moment: str
    """The moment that was asked for."""
    what: str
    """The moment in words."""
    cycle: int
    """Its cycle."""
    place: str
    """Where on the track it is; empty if there is no track."""
    note: str
    """What is unusual about it; empty if nothing is."""
    edges: list[EdgeForm]
    """Each edge around it with an event, in order."""
    clauses: dict[str, str]
    """The clauses of the fields that change there, each in one sentence."""
