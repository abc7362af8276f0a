"""What can meet on one edge, in the order it acts: the one table of SPEC.md's collisions."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple


class Event(StrEnum):
    """What can arrive at an edge, in the order it acts there."""

    RESET = "reset"
    WRITE = "write"
    SLOT = "slot"
    BIT = "bit"
    READ = "read"


class Meeting(NamedTuple):
    """Two events on one edge: what happens, its clause, and the examples that show it."""

    first: Event
    second: Event
    outcome: str
    clause: str
    examples: tuple[str, ...]


_IN_RESET = "reset_wins"
MEETINGS = (
    Meeting(Event.RESET, Event.WRITE, "reset has priority; the write is lost", "B14", (_IN_RESET,)),
    Meeting(Event.RESET, Event.SLOT, "reset has priority; the slot is lost", "B14", (_IN_RESET,)),
    Meeting(Event.RESET, Event.BIT, "reset has priority; the bit is lost", "B14", (_IN_RESET,)),
    Meeting(
        Event.RESET,
        Event.READ,
        "the read returns the word from before; reset has priority",
        "B14",
        (_IN_RESET,),
    ),
    Meeting(
        Event.WRITE,
        Event.SLOT,
        "start or stop: policy `start_acts`",
        "B9",
        ("slot_before_the_write", "write_before_the_slot"),
    ),
    Meeting(
        Event.WRITE,
        Event.BIT,
        "sync_word, control: policy `same_edge_write`",
        "B3",
        ("bit_meets_the_old_word", "bit_meets_the_new_word"),
    ),
    Meeting(
        Event.WRITE,
        Event.BIT,
        "start or stop: policy `start_acts`",
        "B10",
        ("starts_behind_its_edge", "starts_with_its_edge"),
    ),
    Meeting(
        Event.WRITE,
        Event.READ,
        "the read returns the word from before; both take effect",
        "B3",
        ("read_before_write",),
    ),
    Meeting(
        Event.SLOT,
        Event.BIT,
        "policy `fifo_forwarding`",
        "B10",
        ("slot_seen_by_none", "slot_seen_by_the_bit"),
    ),
    Meeting(Event.SLOT, Event.READ, "as write and read", "B6", ("until_the_last_word",)),
    Meeting(
        Event.BIT, Event.READ, "inside a byte: as write and read", "B5", ("read_inside_a_byte",)
    ),
    Meeting(
        Event.BIT,
        Event.READ,
        "end of a byte: policy `ready_tie`",
        "B5",
        ("tie_set_wins", "tie_clear_wins"),
    ),
)
