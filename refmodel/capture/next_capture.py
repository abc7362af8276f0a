"""What to capture next: the shortest shipped scenario that tells two answers apart."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from refmodel.block.settings import Policies
from refmodel.capture.capture_map import CaptureMap
from refmodel.capture.fit import CONTRADICTED, Fitted, Question
from refmodel.capture.reading import NUMBERS, Reading
from refmodel.engine.timeline import Expected, Timeline
from refmodel.ground.bus import WRITTEN
from refmodel.ground.errors import UserError
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus
from refmodel.host.processor import MissingRegisterError
from refmodel.profile import Profile
from refmodel.world.find import SCENARIOS, given_name, suite_names
from refmodel.world.load import load_scenario
from refmodel.world.play import ModelPlayer
from refmodel.world.spans import disk_of
from refmodel.world.turning import Turning

LONGEST = 150_000  # cycles of a scenario that are looked at
NO_HOST_SUITES = ("flux",)  # their channel bits depend on the separator


@dataclass(frozen=True)
class Next:
    """A capture that decides a question: a scenario, and where its answers part.

    In `cycle`, `field` is `one` with the answer of the reading and `other` with `value`.
    """

    question: str
    value: str
    scenario: str
    path: Path
    cycle: int
    field: str
    one: int
    other: int
    read: bool


class Program:
    """A shipped scenario, played once with the reading found."""

    def __init__(self, path: Path, profile: Profile) -> None:
        self.path = path
        self.name = given_name(path)
        disk = disk_of(path, load_scenario(path), profile, 1)
        first = next(iter(Turning(disk)))
        if first.cycles > LONGEST:
            resets = tuple(span for span in first.resets if span[1] < LONGEST)
            first = replace(first.between(first.first, LONGEST), resets=resets)
        played = next(iter(ModelPlayer(disk.profile, disk.processor()).play([first])))
        self.stimulus: Stimulus = played

    @property
    def written(self) -> set[str]:
        """The registers it writes."""
        return {WRITTEN[k] for k in self.stimulus.access_kind.tolist() if k in WRITTEN}

    def expected(self, profile: Profile) -> Expected:
        """Return what a profile shows of it."""
        return Timeline(profile).run(self.stimulus)


def programs(profile: Profile, say: Callable[[str], None]) -> Iterator[Program]:
    """Yield the shipped scenarios, the shortest suite first."""
    for suite in sorted(set(suite_names()) - set(NO_HOST_SUITES), key=lambda s: s != "quick"):
        for path in sorted((SCENARIOS / suite).glob("*.yaml")):
            say(f"fit: looking at {suite}/{path.stem}")
            try:
                yield Program(path, profile)
            except (UserError, MissingRegisterError):
                continue  # one that this profile cannot play


def what_next(
    fitted: Fitted, given: CaptureMap, base: Profile, say: Callable[[str], None]
) -> list[Next]:
    """Return a capture for each open question that a shipped scenario decides, by all answers."""
    wanted = [(q, value) for q in fitted.open for value in _left(q)]
    if not wanted:
        return []
    reading = fitted.best.reading
    found: dict[tuple[str, str], Next] = {}
    seen = {**given.observed, **{name: name for name in given.held().lines}}
    registers = set() if given.bus is None else given.bus.registers.model_fields_set
    for program in programs(reading.profile(base), say):
        if not program.written <= registers:
            continue  # the controller has not all registers it writes
        one = program.expected(reading.profile(base))
        for question, value in wanted:
            if question.name not in Policies.model_fields and question.name not in NUMBERS:
                continue
            other = program.expected(reading.changed(question.name, value).profile(base))
            parts = _parts(one, other, seen)
            key = (question.name, value)
            if parts is not None and (key not in found or parts[0] < found[key].cycle):
                found[key] = Next(question.name, value, program.name, program.path, *parts)
    return list(found.values())


def _left(question: Question) -> list[str]:
    """Return the answers to an open question other than the reading's."""
    return [
        v.value for v in question.values if v.verdict != CONTRADICTED and v.value != question.answer
    ]


def _parts(
    one: Expected, other: Expected, seen: Mapping[str, str]
) -> tuple[int, str, int, int, bool] | None:
    """Return where two expectations part first, as far as a capture shows it."""
    found: list[tuple[int, str, int, int, bool]] = []
    for name in seen:
        here, there = (one.lanes | one.lines)[name], (other.lanes | other.lines)[name]
        cycle = _differ(here, there)
        if cycle is not None:
            found.append((cycle, name, int(here.at(cycle)), int(there.at(cycle)), False))
    apart = np.flatnonzero(one.read_value != other.read_value)
    if not seen and len(apart):
        at = int(apart[0])
        values = int(one.read_value[at]), int(other.read_value[at])
        found.append((int(one.read_cycle[at]), "status", *values, True))
    return min(found, default=None)


def _differ(one: Lane, other: Lane) -> int | None:
    """Return the first cycle in which two lanes differ."""
    cycles = np.union1d(one.cycle, other.cycle)
    apart = np.flatnonzero(one.at(cycles) != other.at(cycles))
    return int(cycles[apart[0]]) if len(apart) else None


def told(reading: Reading, chosen: Sequence[Next]) -> Iterator[str]:
    """Yield what to capture next, a line each."""
    for one in chosen:
        how = "a read returns" if one.read else f"{one.field} is"
        yield (
            f"{one.question}: play {one.scenario}; at cycle {one.cycle} {how} {one.one:#x} if it is"
            f" {reading[one.question]}, {one.other:#x} if {one.value}"
        )
