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
    """The cycles at the start of each stretch in which the host cannot get on."""
    every: int = Key(ge=1)
    """The length of a stretch in cycles."""

    @model_validator(mode="after")
    def _leaves_something(self) -> Contention:
        if self.busy >= self.every:
            raise ValueError(f"busy {self.busy} of every {self.every} leaves the host no cycle")
        return self


class HostPart(Schema):
    """Which program the host runs, its parameters, and how it gets onto the bus."""

    program: str = "idle"
    """The host program by name: one that ships, or one of `programs`."""
    params: dict[str, Any] = Key({})
    """Its parameters. A time is cycles, or text such as `2.25 bits` (channel bits) or `300 us`."""
    cost_factor: Fraction = Fraction(1)
    """A factor for the costs of the program, e.g. 4/3; above 1 the host is slower. At least
    1/64."""
    align: int = Key(1, ge=1, le=4096)
    """Accesses fall on multiples of this many cycles."""
    contention: Contention = Contention(busy=0, every=1)
    """Cycles in which the bus belongs to others."""
    limit: int = Key(10_000_000, ge=1)
    """After this many accesses the program counts as one that never ends."""

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
    """The head leaves for another track."""

    at_us: Microseconds
    """When the head moves, counted from the start of the run."""
    track: int = Key(ge=0)
    """The track it moves to: its place in `tracks` from 1 on, 0 for `track`."""


class WrittenPart(Schema):
    """What a write has left."""

    first: Cycle
    """The cycle of its first bit, counted from the index."""
    bit_cycles: Cycles
    """Cycles of a channel bit."""
    bits: str = Key(pattern="^[01_]+$")
    """The channel bits as 0 and 1; `_` may part them."""


def exact(value: object, example: str, least: Fraction | None = None) -> Fraction:
    """Return a number of a file as a fraction; ValueError when it is none, or below `least`."""
    number = exact_number(value)
    if number is None:
        raise ValueError(f"'{value}' is not a number, e.g. {example}")
    if least is not None and number < least:
        raise ValueError(f"'{value}' should be at least {least}")
    return number


class ResetPulse(Schema):
    """A reset in the middle of the run, or several, equally far apart."""

    at: Cycle
    """The cycle it begins in."""
    cycles: Cycles = 4
    """Cycles for which it is held."""
    every: Cycles | None = None
    """Cycles from one reset to the next, where there are several."""
    times: int = Key(1, ge=1, le=100_000)
    """How many resets."""

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
    """What lines carry from a cycle on while there is no strobe: no core must look at them."""

    at: Cycle
    """From this cycle on."""
    address: int = Key(0, ge=0)
    """The address lines."""
    data: int = Key(0, ge=0, le=WORD)
    """The write data lines."""
    bit: int = Key(0, ge=0, le=1)
    """The channel-bit line."""

    @property
    def row(self) -> tuple[int, int, int, int]:
        """All four, as a player takes them."""
        return self.at, self.address, self.data, self.bit


class Scenario(Schema):
    """One scenario file."""

    name: str
    """The scenario's name."""
    about: str = ""
    """A sentence about it."""
    track: ScenarioTrack
    """What is on the disk: one of the layouts below."""
    tracks: list[TrackLayout] = Key([])
    """More tracks, numbered from 1 on; `track` is number 0."""
    density: list[Stretch] = Key([])
    """Regions of long or short cells."""
    slow_bits: bool = False
    """The track's channel bits last twice as long, and a separator that follows slow bits takes
    them so."""
    speed_percent: float = Key(0, ge=-25, le=25)
    """How much too fast the drive turns."""
    separator: SeparatorName | None = None
    """The model's separator that the disk is read through; without it, and without flux
    defects, channel bits come as they are on the track."""
    flux: Defects = Defects()
    """Defects of the flux."""
    pulse_percent: float = Key(0, ge=0, le=90)
    """How long a flux pulse is, in percent of a channel bit, for a core with a separator whose
    binding does not say so itself; without it 200 ns."""
    steps: list[HeadStep] = Key([])
    """When the head moves, and to which track, in order of time; there is noise while it moves."""
    written: list[WrittenPart] = Key([])
    """Channel bits that an earlier run wrote on the track."""
    write_protected: bool = False
    """The disk cannot be written."""
    settle_us: Microseconds = 18_000
    """How long a step takes until the track is read well: 3 ms and 15 ms to settle."""
    index_us: int = Key(2_000, ge=1, le=LONGEST_US)
    """The width of the index pulse; the track begins at the index."""
    index_offset_us: float = Key(0, ge=-5_000, le=5_000)
    """How far after the start of the track the index pulse comes."""
    index_spread_us: float = Key(0, ge=0, le=5_000)
    """The largest difference between drives; picked at random for each drive."""
    index_jitter_us: float = Key(0, ge=0, le=100)
    """The sigma of the pulse's place from revolution to revolution."""
    seed: int | None = Key(None, ge=0)
    """A seed of its own, whatever `--seed` says."""
    revolutions: int = Key(1, ge=1, le=1000)
    """How often the disk turns."""
    programs: list[str] = Key([])
    """Python files with host programs, in the scenario's folder; they are run, so trust them
    first."""
    host: HostPart = HostPart()
    """What the host does."""
    drives: DriveSetup | None = None
    """Several drives, whose lines the core moves."""
    levels: dict[LevelName, Level] = Key({})
    """Level inputs: 0, 1, or one of the forms below; the others are 0."""
    resets: list[ResetPulse] = Key([])
    """Resets in the middle of the run."""
    slots: Slots | None = None
    """Memory slots other than the profile's."""
    idle_lines: list[IdleLines] = Key([])
    """The values of lines without a strobe, in order; random by default. A core must not depend on
    them."""
    memory: list[MemoryPart] = Key([])
    """The contents of memory, one part after the other from its first word on; the rest is random
    by the seed."""
    memory_words: int = Key(8192, ge=0, le=MEMORY_WORDS)
    """The size of the memory in words."""

    _document: Document | None = PrivateAttr(None)

    @field_validator("steps")
    @classmethod
    def _in_order_of_time(cls, value: list[HeadStep]) -> list[HeadStep]:
        for step, later in pairwise(value):
            if later.at_us <= step.at_us:
                raise ValueError(
                    f"the step to track {later.track} at {later.at_us} us comes after the one at"
                    f" {step.at_us} us; give steps in order of time"
                )
        return value

    @field_validator("idle_lines")
    @classmethod
    def _in_order_of_cycles(cls, value: list[IdleLines]) -> list[IdleLines]:
        for one, later in pairwise(value):
            if later.at <= one.at:
                raise ValueError(f"cycle {later.at} comes after {one.at}; give them in order")
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
