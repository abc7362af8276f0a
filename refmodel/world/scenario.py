"""Scenarios: what is on the disk, what reaches the other inputs, and what the host does."""

from __future__ import annotations

import inspect
from fractions import Fraction
from itertools import pairwise
from math import gcd
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field as Key
from pydantic import PrivateAttr, field_validator, model_validator

from refmodel.block.slots import Slots
from refmodel.ground.duration import cycles_of, is_duration
from refmodel.ground.errors import InputError, UserError
from refmodel.ground.word import WORD
from refmodel.ground.yamlfile import Document, Schema, exact_number
from refmodel.host.catalogue import programs
from refmodel.host.machine import Timing
from refmodel.host.program import Program
from refmodel.media.density import Stretch
from refmodel.media.flux_defects import Defects
from refmodel.media.seeded import seed_of
from refmodel.profile import Profile
from refmodel.separator.parameters import SeparatorName
from refmodel.world.drive_setup import DriveSetup
from refmodel.world.layouts import ScenarioTrack, TrackLayout
from refmodel.world.levels import Cycle, Cycles, Level, LevelName
from refmodel.world.memory import MEMORY_WORDS, MemoryPart, memory_of

LONGEST_US = 1_000_000_000  # of anything that takes time: 1000 s
Microseconds = Annotated[int, Key(ge=0, le=LONGEST_US)]


class Contention(Schema):
    """The bus belongs to others in the first `busy` of every `every` cycles."""

    busy: int = Key(ge=0)
    every: int = Key(ge=1)

    @model_validator(mode="after")
    def _leaves_something(self) -> Contention:
        if self.busy >= self.every:
            raise ValueError(f"busy {self.busy} of every {self.every} leaves the host no cycle")
        return self


class HostPart(Schema):
    """Which program the host runs, its parameters, and how it gets onto the bus.

    Times among the parameters are cycles, or text such as `2.25 bits` (channel bits) or `300 us`.
    Costs are multiplied by `cost_factor` (a slow host has more than 1); accesses fall on multiples
    of `align` cycles. After `limit` accesses the program is taken for one that never ends.
    """

    program: str = "idle"
    params: dict[str, Any] = Key({})
    cost_factor: Fraction = Fraction(1)
    align: int = Key(1, ge=1, le=4096)
    contention: Contention = Contention(busy=0, every=1)
    limit: int = Key(10_000_000, ge=1)

    @model_validator(mode="after")
    def _gets_onto_the_bus(self) -> HostPart:
        every, busy = self.contention.every, self.contention.busy
        if every - gcd(every, self.align) < busy:  # the last aligned cycle of `every`
            raise ValueError(
                f"no cycle is a multiple of align {self.align} and outside the first {busy} of"
                f" every {every}; the host never gets onto the bus"
            )
        return self

    @field_validator("cost_factor", mode="before")
    @classmethod
    def _exact_factor(cls, value: object) -> Fraction:
        return exact(value, "1.5 or 4/3", least=Fraction(1, 64))

    @property
    def timing(self) -> Timing:
        """When its accesses come."""
        return Timing(self.cost_factor, self.align, self.contention.busy, self.contention.every)


class HeadStep(Schema):
    """The head leaves for `track` (its place in `tracks`) at `at_us` microseconds of the run."""

    at_us: Microseconds
    track: int = Key(ge=0)


class WrittenPart(Schema):
    """What a write has left: `bits`, `bit_cycles` each, from `first` cycles behind the index on."""

    first: Cycle
    bit_cycles: Cycles
    bits: str = Key(pattern="^[01_]+$")


def exact(value: object, example: str, least: Fraction | None = None) -> Fraction:
    """Return a number of a file as a fraction; ValueError when it is none, or below `least`."""
    number = exact_number(value)
    if number is None:
        raise ValueError(f"'{value}' is no number, e.g. {example}")
    if least is not None and number < least:
        raise ValueError(f"'{value}' is below {least}")
    return number


class ResetPulse(Schema):
    """A reset in the middle of the run; with `every`, `times` of them, so many cycles apart."""

    at: Cycle
    cycles: Cycles = 4
    every: Cycles | None = None
    times: int = Key(1, ge=1, le=100_000)

    @model_validator(mode="after")
    def _come_apart(self) -> ResetPulse:
        if self.times > 1 and self.every is None:
            raise ValueError(f"times {self.times}: give every, the cycles from one to the next")
        return self

    @property
    def spans(self) -> list[tuple[int, int]]:
        """The cycles each begins and ends in."""
        begins = (self.at + n * (self.every or 0) for n in range(self.times))
        return [(begin, begin + self.cycles) for begin in begins]


class IdleLines(Schema):
    """What the lines carry without a strobe from cycle `at` on: a core must not look at them."""

    at: Cycle
    address: int = Key(0, ge=0)
    data: int = Key(0, ge=0, le=WORD)
    bit: int = Key(0, ge=0, le=1)

    @property
    def row(self) -> tuple[int, int, int, int]:
        """All four, as a player takes them."""
        return self.at, self.address, self.data, self.bit


class Scenario(Schema):
    """One scenario file."""

    name: str
    about: str = ""
    track: ScenarioTrack
    tracks: list[TrackLayout] = Key([])  # more tracks, numbered from 1; `track` is number 0
    density: list[Stretch] = Key([])
    slow_bits: bool = False  # channel bits twice as long, and a separator that follows slow_bits
    speed_percent: float = Key(0, ge=-25, le=25)
    separator: SeparatorName | None = None  # None: see `Disk`
    flux: Defects = Defects()
    steps: list[HeadStep] = Key([])
    written: list[WrittenPart] = Key([])  # over the track, by a run before
    write_protected: bool = False  # nothing can be written
    settle_us: Microseconds = 18_000  # a step of 3 ms and 15 ms to settle
    index_us: int = Key(2_000, ge=1, le=LONGEST_US)
    index_offset_us: float = Key(0, ge=-5_000, le=5_000)  # of the pulse behind the track's begin
    index_spread_us: float = Key(0, ge=0, le=5_000)  # drawn for each drive, at most so far off
    index_jitter_us: float = Key(0, ge=0, le=100)  # sigma, from revolution to revolution
    seed: int | None = Key(None, ge=0)
    revolutions: int = Key(1, ge=1, le=1000)
    programs: list[str] = Key([])  # Python files with host programs, in the scenario's folder
    host: HostPart = HostPart()
    drives: DriveSetup | None = None  # several drives, whose lines the core moves
    levels: dict[LevelName, Level] = Key({})
    resets: list[ResetPulse] = Key([])
    slots: Slots | None = None  # memory slots other than the profile's
    idle_lines: list[IdleLines] = Key([])  # without them what idle lines carry is random
    memory: list[MemoryPart] = Key([])  # from its first word on; the rest is random by the seed
    memory_words: int = Key(8192, ge=0, le=MEMORY_WORDS)

    _document: Document | None = PrivateAttr(None)

    @field_validator("steps")
    @classmethod
    def _in_order_of_time(cls, value: list[HeadStep]) -> list[HeadStep]:
        for step, later in pairwise(value):
            if later.at_us <= step.at_us:
                raise ValueError(
                    f"the step to track {later.track} at {later.at_us} us stands behind the one at"
                    f" {step.at_us} us; give steps in order of time"
                )
        return value

    @field_validator("idle_lines")
    @classmethod
    def _in_order_of_cycles(cls, value: list[IdleLines]) -> list[IdleLines]:
        for one, later in pairwise(value):
            if later.at <= one.at:
                raise ValueError(f"cycle {later.at} stands behind {one.at}; give them in order")
        return value

    @model_validator(mode="after")
    def _memory_has_room(self) -> Scenario:
        try:
            memory_of(self.memory, self.memory_words, 0)
        except ValueError as error:
            raise ValueError(f"memory: {error}") from None
        return self

    @model_validator(mode="after")
    def _parts_fit(self) -> Scenario:
        """Refuse parts that contradict each other."""
        wrong = [step.track for step in self.steps if step.track > len(self.tracks)]
        if wrong:
            raise ValueError(
                f"steps: track {wrong[0]} is not there, the last is {len(self.tracks)}"
            )
        timed = dict.fromkeys(("timed", "dense"), "timed by itself")
        known = {"capture": "a capture, which has it as it was read", **timed}
        if self.track.layout in known and (given := self._set_on_a_capture):
            raise ValueError(f"{given}: the track is {known[self.track.layout]}")
        if self.flux.speed_percent:
            raise ValueError("flux.speed_percent: give the drive's speed as speed_percent")
        return self

    @property
    def _set_on_a_capture(self) -> str:
        """The first key that says what a captured track says itself; empty when none does."""
        set_here = {
            "density": bool(self.density),
            "speed_percent": bool(self.speed_percent),
            "flux": self.flux != Defects(),
            **{name: bool(getattr(self, name)) for name in ("tracks", "steps", "written")},
        }
        return next((name for name, given in set_here.items() if given), "")

    @property
    def program_files(self) -> tuple[Path, ...]:
        """The Python files with host programs that the scenario names, from its own folder."""
        folder = self._document.path.parent if self._document else Path()
        return tuple(folder / name for name in self.programs)

    def own_seed(self, seed: int) -> int:
        """Return the seed of what is drawn at random here: its own, or one made of the run's."""
        return seed_of(seed, self.name) if self.seed is None else self.seed

    def program(self, seed: int, profile: Profile) -> Program:
        """Start the host program; one that takes a seed gets the scenario's.

        Parameters given in channel bits or microseconds become cycles of the profile.
        """
        make = programs(self.program_files)[self.host.program]
        clock = (profile.clock_hz, profile.cycles_per_bit)
        params = {
            name: cycles_of(value, *clock) if is_duration(value) else value
            for name, value in self.host.params.items()
        }
        if "seed" in inspect.signature(make).parameters:
            params.setdefault("seed", seed)
        return make(**params)

    @classmethod
    def of(cls, document: Document) -> Scenario:
        """Return the scenario of a document, which knows where each key stands.

        Raises InputError with every fault the schema finds.
        """
        scenario = document.validate(cls)
        scenario._document = document
        return scenario

    def fault(self, key: tuple[str, ...], message: str) -> UserError:
        """Return the error of what only a run shows to be wrong, at its place in the file."""
        if self._document is None:
            return UserError(f"{'.'.join(key)}: {message}")
        return InputError([self._document.problem(key, message)])

    def given_as(self, key: tuple[str, ...]) -> str:
        """Return how a message begins that tells of a key: with its place; empty without a file."""
        return str(self.fault(key, "")).removesuffix(": ") if self._document else ""

    def needs(self) -> set[str]:
        """Return the inputs and registers a core must have to run this scenario."""
        return {name for name, level in self.levels.items() if level != 0}
