"""A case: what reaches the block in a short run, event by event, and the scenario that plays it."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import accumulate, groupby, pairwise
from typing import Any, NamedTuple

from refmodel.ground.numbers import counted

BIT, READ, WRITE, LEVEL, RESET, SLOT = "bit", "read", "write", "level", "reset", "slot"
KINDS = {BIT, READ, WRITE, LEVEL, RESET, SLOT}
TAIL = 24  # cycles behind the last event
Access = tuple[str, str]  # read or write, and of which register
AT_ONCE: Mapping[Access, int] = {}  # each is over in the cycle in which it begins
MOST_LINE = 1 << 20  # cycles of a slot schedule: behind any case


class CaseEvent(NamedTuple):
    """Something that reaches the block at edge `at`.

    `name` is the register of an access or the name of a level; `value` the channel bit, the word
    written, the level from then on, or the cycles of a reset.
    """

    at: int
    kind: str
    name: str = ""
    value: int = 0


@dataclass(frozen=True)
class DrawnCase:
    """Events in order of their edges, the first behind a reset of `start` cycles.

    `seed` is that of what memory holds, and of the accesses beside the registers.
    """

    start: int
    events: tuple[CaseEvent, ...]
    seed: int = 1

    @property
    def cycles(self) -> int:
        """Length of the run behind the reset."""
        last = self.events[-1].at if self.events else self.start
        return last - self.start + TAIL

    def of(self, *kinds: str) -> list[CaseEvent]:
        """Return the events of some kinds."""
        return [event for event in self.events if event.kind in kinds]

    def without(self, gone: Iterable[int]) -> DrawnCase:
        """Return the case without the events at some places in its list."""
        left_out = set(gone)
        kept = (event for n, event in enumerate(self.events) if n not in left_out)
        return replace(self, events=tuple(kept))

    def sooner(self, place: int, edges: int) -> DrawnCase:
        """Return the case with the events from one place on so many edges earlier."""
        moved = (event._replace(at=event.at - edges) for event in self.events[place:])
        return replace(self, events=(*self.events[:place], *moved))

    def no_further(self, apart: int) -> DrawnCase:
        """Return the case with no event further than so many cycles behind the one before."""
        before = [self.start, *(event.at for event in self.events)]
        gaps = (min(later - at, apart) for at, later in pairwise(before))
        at = accumulate(gaps, initial=self.start)
        next(at)
        events = tuple(e._replace(at=edge) for e, edge in zip(self.events, at, strict=True))
        return replace(self, events=events)

    def with_values(self, places: Iterable[int], value: int) -> DrawnCase:
        """Return the case with one value for the events at some places."""
        chosen = set(places)
        events = (e._replace(value=value) if n in chosen else e for n, e in enumerate(self.events))
        return replace(self, events=tuple(events))

    def until(self, cycle: int) -> DrawnCase:
        """Return the case without the events behind a cycle."""
        return replace(self, events=tuple(e for e in self.events if e.at <= cycle))

    def can_be(self, busy: int, deep: int = 0) -> bool:
        """Return whether the events can happen: one channel bit an edge, accesses `busy` apart.

        A level changes once on an edge. No reset ends while an access is on its way inside the
        core, `deep` edges at most.
        """
        for kinds, apart in (((BIT,), 1), ((READ, WRITE), busy), ((SLOT,), 1)):
            at = [event.at for event in self.of(*kinds)]
            if any(later - edge < apart for edge, later in pairwise(at)):
                return False
        levels = [(event.name, event.at) for event in self.of(LEVEL)]
        if len(set(levels)) < len(levels):
            return False
        accesses, resets = self.of(READ, WRITE), self.of(RESET)
        for reset in resets:
            stop = reset.at + reset.value
            if any(access.at < stop <= access.at + deep for access in accesses):
                return False
        begun = not accesses or accesses[0].at > self.start
        return begun and all(a.at + a.value < b.at for a, b in pairwise(resets))

    def described(self) -> list[str]:
        """Say what happens, a line an event; channel bits in a row are one."""
        return [_described(part) for part in self.parts()]

    def parts(self) -> list[tuple[CaseEvent, ...]]:
        """Return the events in order, channel bits with nothing else between them together."""
        grouped = groupby(enumerate(self.events), lambda e: -1 if e[1].kind == BIT else e[0])
        return [tuple(event for _, event in part) for _, part in grouped]

    def behind(self, other: DrawnCase, reset: int) -> DrawnCase:
        """Return another case followed by a reset of so many cycles and this one."""
        begins = other.start + other.cycles
        moved = (e._replace(at=e.at + begins + reset - self.start) for e in self.events)
        levels = {event.name: event.value for event in other.of(LEVEL)}
        between = [CaseEvent(begins, LEVEL, name) for name, value in levels.items() if value]
        between.append(CaseEvent(begins, RESET, value=reset))
        return DrawnCase(other.start, (*other.events, *between, *moved), self.seed)

    def as_text(self) -> str:
        """Return the case as JSON."""
        return json.dumps([self.start, self.seed, *self.events])

    @classmethod
    def of_text(cls, text: str) -> DrawnCase:
        """Return the case that was written as JSON; ValueError if it is none."""
        try:
            start, *events = json.loads(text)
            seed = events.pop(0) if events and isinstance(events[0], int) else 1  # of older ones
            made = tuple(CaseEvent(*event) for event in events)
        except (TypeError, ValueError) as error:
            raise ValueError(f"not a case: {error}") from None
        numbers = (start, seed, *(n for event in made for n in (event.at, event.value)))
        if not all(isinstance(n, int) for n in numbers) or {e.kind for e in made} - KINDS:
            raise ValueError("not a case")
        return cls(start, made, seed)

    def scenario(
        self, name: str, about: str = "", lasts: Mapping[Access, int] = AT_ONCE
    ) -> dict[str, Any]:
        """Return the scenario that plays the case, as the data of its file.

        `lasts` says of a kind of access and its register for how many cycles it keeps the host.
        """
        found: dict[str, Any] = {"name": name, "about": about, "seed": self.seed}
        found["track"] = self._track()
        found["host"] = {"program": "in_order", "params": {"accesses": self._accesses(lasts)}}
        if levels := self._levels():
            found["levels"] = levels
        if resets := self.of(RESET):
            found["resets"] = [{"at": e.at, "cycles": e.value} for e in resets]
        slots = [event.at for event in self.of(SLOT)]
        if slots or any(event.name == "transfer" for event in self.of(WRITE)):
            found["slots"] = {"line_cycles": MOST_LINE, "at": slots or [MOST_LINE - 1]}
        return found

    def _track(self) -> dict[str, Any]:
        bits = self.of(BIT) or [CaseEvent(self.start + self.cycles - 1, BIT)]
        return {
            "layout": "timed",
            "at": [event.at - self.start for event in bits],
            "bits": "".join(str(event.value) for event in bits),
            "cycles": self.cycles,
        }

    def _accesses(self, lasts: Mapping[Access, int]) -> list[list[int | str]]:
        """Return each access as the program takes it: cycles since the last one, register, word."""
        found: list[list[int | str]] = []
        now = self.start
        for event in self.of(READ, WRITE):
            word = [event.value] if event.kind == WRITE else []
            found.append([event.at - now, event.name, *word])
            now = event.at + lasts.get((event.kind, event.name), 0)
        return found

    def _levels(self) -> dict[str, Any]:
        """Return the edges at which each level changes; all are 0 in reset."""
        found: dict[str, list[int]] = {}
        last: dict[str, int] = {}
        for event in self.of(LEVEL):
            if event.value != last.get(event.name, 0):
                found.setdefault(event.name, []).append(event.at)
                last[event.name] = event.value
        return {name: {"changes_at": at} for name, at in found.items()}


def _described(part: tuple[CaseEvent, ...]) -> str:
    """Say what one part of a case is, and when."""
    first, last = part[0], part[-1]
    if len(part) == 1:
        return f"cycle {first.at}: {_said(first)}"
    bits = "".join(str(event.value) for event in part)
    return f"cycles {first.at} to {last.at}: channel bits {bits}"


def _said(event: CaseEvent) -> str:
    """Say in words what reaches the block."""
    return {
        BIT: f"a {event.value} arrives",
        READ: f"the host reads {event.name}",
        WRITE: f"the host writes {event.name} 0x{event.value:04X}",
        LEVEL: f"{event.name} goes to {event.value}",
        RESET: f"reset for {counted(event.value, 'cycle')}",
        SLOT: "a memory slot",
    }[event.kind]
