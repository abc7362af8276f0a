"""What to capture next: the shortest shipped scenario that tells two answers apart."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from refmodel.capture.capture_map import LEVELS, LINES, CaptureMap
from refmodel.capture.fit import Fitted
from refmodel.capture.reading import Reading
from refmodel.engine.compare import MEMORY
from refmodel.engine.timeline import Expected, Timeline
from refmodel.ground.bus import WRITE_KINDS
from refmodel.ground.depth import Depth, Inside
from refmodel.ground.errors import UserError
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus
from refmodel.host.lacking import MissingRegisterError
from refmodel.profile import Profile
from refmodel.world.find import SCENARIOS, given_name, suite_names
from refmodel.world.load import load_scenario
from refmodel.world.play import ModelPlayer
from refmodel.world.spans import disk_of
from refmodel.world.turning import Turning

LONGEST = 40_000  # cycles of a scenario that are looked at
FIRST = ("quick", "aimed", "block")  # the suites that are looked at first
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


@dataclass(frozen=True)
class Plan:
    """What to capture next; `beyond` says what no shipped scenario decides."""

    chosen: Sequence[Next] = ()
    beyond: Sequence[str] = ()

    def described(self, reading: Reading) -> Iterator[str]:
        """Yield what to capture next, a line each, and what that will not decide."""
        for one in self.chosen:
            how = "a read returns" if one.read else f"{one.field} is"
            how = "the next word moved is" if one.field == MEMORY else how
            yield (
                f"{one.question}: play {one.scenario}; at cycle {one.cycle} {how} {one.one:#x} if"
                f" it is {reading[one.question]}, {one.other:#x} if {one.value}"
            )
        yield from self.beyond


class Program:
    """A shipped scenario, played once with the reading found.

    `levels` are the inputs a capture would have; the others it would take as not driven.
    """

    def __init__(
        self,
        path: Path,
        profile: Profile,
        registers: Collection[str],
        levels: Collection[str] = LEVELS,
    ) -> None:
        self.path = path
        self.name = given_name(path)
        disk = disk_of(path, load_scenario(path), profile, 1)
        first = next(iter(Turning(disk)))
        if first.cycles > LONGEST:
            resets = tuple(span for span in first.resets if span[1] < LONGEST)
            first = replace(first.between(first.first, LONGEST), resets=resets)
        played = next(
            iter(ModelPlayer(disk.profile, disk.processor(registers=registers)).play([first]))
        )
        driven = {name: lane for name, lane in played.levels.items() if name in levels}
        self.stimulus: Stimulus = replace(played, levels=driven)

    def expected(self, reading: Reading, base: Profile) -> Expected:
        """Return what a reading shows of it: what comes to the pins counts as late as it says."""
        reads = int(reading.get("bus.latency", "0"))
        late = int(reading["inputs.latency"])
        depth = Depth(
            int(reading["disk.latency"]),
            reads,
            reads + int(reading.get("bus.write_latency", "0")),
            dict.fromkeys(LEVELS, late) if late else {},
        )
        stimulus = Inside(depth, self.stimulus.resets).take(self.stimulus)
        return _late(Timeline(reading.profile(base)).run(stimulus), int(reading["latency.status"]))


def programs(profile: Profile, given: CaptureMap, say: Callable[[str], None]) -> Iterator[Program]:
    """Yield the shipped scenarios, those first that need no more than a core."""
    registers = set() if given.bus is None else given.bus.registers.model_fields_set
    levels = [name for name in LEVELS if getattr(given.inputs, name) is not None]
    others = sorted(set(suite_names()) - {*NO_HOST_SUITES, *FIRST})
    for suite in (*FIRST, *others):
        for path in sorted((SCENARIOS / suite).glob("*.yaml")):
            say(f"fit: looking at {suite}/{path.stem}")
            try:
                yield Program(path, profile, registers, levels)
            except (UserError, MissingRegisterError):
                continue  # one that this controller cannot play


def what_next(fitted: Fitted, given: CaptureMap, base: Profile, say: Callable[[str], None]) -> Plan:
    """Return a capture for each answer that is left open, of few scenarios.

    Whatever a scenario tells apart that one before it does not, it is named for.
    """
    reading = fitted.best.reading
    wanted = [(q.name, v.value, v.reading) for q in fitted.open for v in q.values if v.reading]
    found: list[Next] = []
    seen = {**given.observed, **{name: name for name in given.held().lines}}
    for program in programs(reading.profile(base), given, say) if wanted else ():
        one = program.expected(reading, base)
        for answer in list(wanted):
            question, value, tried = answer
            other = program.expected(tried, base)
            parts = _parts(one, other, seen)
            if parts is None and given.held().memory:
                parts = _move_parts(one, other)
            if parts is not None:
                found.append(Next(question, value, program.name, program.path, *parts))
                wanted.remove(answer)
        if not wanted:
            break
    return Plan(found, [*_beyond(fitted, found, given)])


def _late(expected: Expected, cycles: int) -> Expected:
    """Return what is shown when status comes some cycles late."""
    lanes = {
        name: Lane.of(np.append(lane.cycle[:1], lane.cycle[1:] + cycles), lane.value)
        for name, lane in expected.lanes.items()
    }
    return replace(expected, lanes=lanes) if cycles else expected


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


def _move_parts(one: Expected, other: Expected) -> tuple[int, str, int, int, bool] | None:
    """Return where two expectations first move another word, or move it in another slot."""
    both = min(len(one.moves), len(other.moves))
    apart = np.zeros(both, bool)
    for name in ("cycle", "word", "store"):
        apart |= getattr(one.moves, name)[:both] != getattr(other.moves, name)[:both]
    if not apart.any():
        return None
    at = int(np.flatnonzero(apart)[0])
    here, there = int(one.moves.word[at]), int(other.moves.word[at])
    cycle = min(int(one.moves.cycle[at]), int(other.moves.cycle[at]))
    return cycle, MEMORY, here, there, False


def _differ(one: Lane, other: Lane) -> int | None:
    """Return the first cycle in which two lanes differ."""
    cycles = np.union1d(one.cycle, other.cycle)
    apart = np.flatnonzero(one.at(cycles) != other.at(cycles))
    return int(cycles[apart[0]]) if len(apart) else None


def _beyond(fitted: Fitted, chosen: Sequence[Next], given: CaptureMap) -> Iterator[str]:
    """Yield what no shipped scenario tells apart with this map, and what is not in the map."""
    named = {(one.question, one.value) for one in chosen}
    left = {
        q.name: [v.value for v in q.values if v.reading and (q.name, v.value) not in named]
        for q in fitted.open
    }
    told_of = [
        f"{name} ({' or '.join((fitted.best.reading[name], *values))})"
        for name, values in left.items()
        if values
    ]
    if not told_of:
        return
    yield f"no shipped scenario decides, with this map: {', '.join(told_of)}"
    missing = list(_missing(given))
    if missing:
        yield f"not in the map, and may decide it if the controller has it: {', '.join(missing)}"


def _missing(given: CaptureMap) -> Iterator[str]:
    """Yield the keys of a map that show more of a controller and are left out."""
    yield from (f"inputs.{name}" for name in LEVELS if name not in given.levels)
    if given.bus is not None:
        known = given.bus.registers
        yield from (f"bus.registers.{n}" for n in WRITE_KINDS if getattr(known, n, None) is None)
    for name in LINES:
        if getattr(given.lines, name) is None:
            yield f"lines.{name}"
    if given.memory is None:
        yield "memory"
