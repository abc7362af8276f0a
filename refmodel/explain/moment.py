"""Finds the moment a user asks for: `sync:2` is the second match, `cycle:700` a cycle."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from refmodel.engine.blame import completions
from refmodel.ground.bus import reads_status
from refmodel.ground.errors import UserError, near
from refmodel.ground.lane import Cycles
from refmodel.profile import Profile
from refmodel.report.kept import Kept
from refmodel.world.disk import Disk
from refmodel.world.scenario import Scenario
from refmodel.world.spans import Span, disk_of, way_of

MISMATCH = "mismatch"  # of a run; it is looked up in the run's result and found as a cycle
BITS_BEFORE, BITS_AFTER = 2, 3  # channel bits shown around a moment


@dataclass(frozen=True)
class Moment:
    """What is asked for: the `number`-th of a kind of event, counted from 1, or a cycle."""

    kind: str
    number: int

    @property
    def text(self) -> str:
        """The moment as the user writes it."""
        return f"{self.kind}:{self.number}"


@dataclass(frozen=True)
class Found:
    """A moment in a run: its cycle and place, and the revolutions the cycles around it lie in.

    `what` says what happens there, where the moment itself does not. `core` has the lanes of a
    core that was recorded, `note` what is known of one that was not.
    """

    moment: Moment
    scenario: str
    profile: Profile
    cycle: int
    place: str
    spans: list[Span]
    first: int
    end: int
    what: str = ""
    core: Kept | None = None
    note: str = ""


@dataclass(frozen=True)
class Played:
    """A way through a scenario of `cycles` cycles, revolution by revolution.

    `place` says what is under the head in a cycle. `core` has the record of a core in it.
    """

    scenario: str
    profile: Profile
    cycles: int
    place: Callable[[int], str]
    spans: Iterator[Span]
    core: Kept | None = None
    note: str = ""


def parse_moment(text: str) -> Moment:
    """Return the moment of `--around`; raise UserError for what is none."""
    kind, _, number = text.partition(":")
    if kind not in (*KINDS, MISMATCH):
        hint = near(kind, (*KINDS, MISMATCH))
        raise UserError(f"--around {text}: no such moment{hint}; e.g. sync:2")
    least = 0 if kind == "cycle" else 1
    if not (number.isascii() and number.isdigit() and least <= int(number) < 1 << 62):
        raise UserError(f"--around {text}: should be {kind}:N, N a whole number from {least} on")
    return Moment(kind, int(number))


def find_moment(
    path: Path, scenario: Scenario, profile: Profile, seed: int, moment: Moment
) -> Found:
    """Run a scenario on the model until the moment. Raises UserError when it never comes."""
    return find_in(played_on_model(path, scenario, profile, seed), moment)


def played_on_model(path: Path, scenario: Scenario, profile: Profile, seed: int) -> Played:
    """Return the model's way through a scenario."""
    disk = disk_of(path, scenario, profile, seed)
    return played_on(disk, *way_of(path, disk))


def played_on(
    disk: Disk, spans: Iterator[Span], place: Callable[[int], str] | None = None
) -> Played:
    """Return a way through a disk; `place` says what is under the head, if the disk does not."""
    return Played(disk.scenario.name, disk.profile, disk.cycles, place or disk.place, spans)


def find_in(played: Played, moment: Moment) -> Found:
    """Return a moment in a way through a scenario. Raises UserError when it never comes."""
    profile = played.profile
    bit = float(profile.cycles_per_bit)
    passed, kept = 0, []
    found: int | None = None
    for span in played.spans:
        kept.append(span)
        if found is None:
            cycles = KINDS[moment.kind](profile, span, moment)
            if passed + len(cycles) >= moment.number or (moment.kind == "cycle" and len(cycles)):
                found = int(cycles[0 if moment.kind == "cycle" else moment.number - passed - 1])
            passed += len(cycles)
        if found is not None and found + BITS_AFTER * bit < span.stimulus.end:
            break
        if found is None:  # what may be shown before the moment; a span with drives is short
            begin = span.stimulus.end - BITS_BEFORE * bit - 1
            kept = [one for one in kept if one.stimulus.end > begin]
    if found is None:
        raise UserError(
            f"--around {moment.text}: the scenario has {_there(moment, passed, played.cycles)}"
        )
    first = max(kept[0].stimulus.first, int(found - BITS_BEFORE * bit))
    end = min(played.cycles, int(found + BITS_AFTER * bit) + 1)
    return Found(
        moment,
        played.scenario,
        profile,
        found,
        played.place(found),
        kept,
        first,
        end,
        core=played.core,
        note=played.note,
    )


def _there(moment: Moment, passed: int, cycles: int) -> str:
    """Say what there is instead of a moment that never comes."""
    if moment.kind == "cycle":
        return f"cycles 0 to {cycles - 1}"
    return f"only {passed} of them" if passed else "none"


def _syncs(profile: Profile, span: Span, moment: Moment) -> Cycles:
    """Return the cycles in which status begins to show a match."""
    del profile, moment
    lane = span.expected.lanes["sync_equal"]
    rises: Cycles = lane.cycle[(lane.value == 1) & (lane.cycle > span.stimulus.first)]
    return rises


def _reads(profile: Profile, span: Span, moment: Moment) -> Cycles:
    """Return the edges of reads of status."""
    del profile, moment
    read = reads_status(span.stimulus.access_kind)
    cycles: Cycles = span.stimulus.access_cycle[read]
    return cycles


def _bytes(profile: Profile, span: Span, moment: Moment) -> Cycles:
    """Return the edges on which bytes complete."""
    del moment
    return np.fromiter(completions(profile, span.state, span.stimulus), np.int64)


def _cycle(profile: Profile, span: Span, moment: Moment) -> Cycles:
    """Return the cycle itself, if the revolution has it."""
    del profile
    inside = span.stimulus.first <= moment.number < span.stimulus.end
    return np.array([moment.number] * inside, np.int64)


KINDS: dict[str, Callable[[Profile, Span, Moment], Cycles]] = {
    "sync": _syncs,
    "read": _reads,
    "byte": _bytes,
    "cycle": _cycle,
}
