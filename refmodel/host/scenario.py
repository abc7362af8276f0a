"""Scenarios: what is on the disk, what reaches the other inputs, and what the host does."""

from __future__ import annotations

import inspect
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field as Key

from refmodel.block.profile import Profile
from refmodel.engine.lane import Cycles, Lane
from refmodel.engine.stimulus import Stimulus
from refmodel.errors import InputError, UserError, near
from refmodel.host.program import Program
from refmodel.host.programs import PROGRAMS
from refmodel.media.strobes import bits_of_revolutions, strobe_cycles
from refmodel.media.track import Track, image_track, iso_track, random_track, words_track
from refmodel.yamlfile import Document, Schema, load

SCENARIOS = Path(str(resources.files("refmodel"))) / "scenarios"
RESET_CYCLES = 4


class IsoLayout(Schema):
    """A track in the ISO layout, with sector data drawn from the run's seed."""

    layout: Literal["iso"]
    sectors: int = Key(9, ge=1, le=64)
    size: Literal[128, 256, 512, 1024, 2048, 4096] = 512
    cylinder: int = Key(0, ge=0, le=255)
    head: int = Key(0, ge=0, le=1)
    gap3: int = Key(84, ge=1)
    bytes: int = Key(6250, gt=0)

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track."""
        del folder
        return iso_track(
            sectors=self.sectors,
            size=self.size,
            cylinder=self.cylinder,
            head=self.head,
            gap3=self.gap3,
            length_bytes=self.bytes,
            data=seed,
        )


class WordsLayout(Schema):
    """A track of raw 16-bit words of channel bits, repeated `repeat` times."""

    layout: Literal["words"]
    words: list[Annotated[int, Key(ge=0, le=0xFFFF)]] = Key(min_length=1)
    repeat: int = Key(1, ge=1, le=100_000)

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track."""
        del seed, folder
        return words_track(self.words * self.repeat)


class RandomLayout(Schema):
    """A track of random channel bits drawn from the run's seed, `marks` sync words among them."""

    layout: Literal["random"]
    bits: int = Key(100_000, ge=16, le=10_000_000)
    marks: int = Key(0, ge=0, le=10_000)
    mark: int = Key(0x4489, ge=0, le=0xFFFF)

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track."""
        del folder
        return random_track(self.bits, seed, marks=self.marks, mark=self.mark)


class ImageLayout(Schema):
    """A track made from a file of sectors, one after the other, in the ISO layout."""

    layout: Literal["image"]
    file: str
    sectors: int = Key(9, ge=1, le=64)
    size: Literal[128, 256, 512, 1024, 2048, 4096] = 512
    cylinder: int = Key(0, ge=0, le=255)
    head: int = Key(0, ge=0, le=1)

    def build(self, seed: int, folder: Path) -> Track:
        """Return the track; raise UserError when the file is missing or of another length."""
        del seed
        path = (folder / self.file).resolve()
        if folder.resolve() not in path.parents:
            raise UserError(f"{self.file}: lies outside the scenario's folder {folder}")
        try:
            data = path.read_bytes()
        except OSError as error:
            raise UserError(f"{path}: cannot be read: {error.strerror}") from None
        return image_track(
            data, sectors=self.sectors, size=self.size, cylinder=self.cylinder, head=self.head
        )


TrackLayout = Annotated[
    IsoLayout | WordsLayout | RandomLayout | ImageLayout, Key(discriminator="layout")
]


class Toggle(Schema):
    """A level input that changes every `toggle_every` cycles."""

    toggle_every: int = Key(ge=1)


class HostPart(Schema):
    """Which program the host runs, and its parameters."""

    program: str = "idle"
    params: dict[str, Any] = Key({})


class ResetPulse(Schema):
    """A reset in the middle of the run."""

    at: int = Key(ge=0)
    cycles: int = Key(4, ge=1)


class Scenario(Schema):
    """One scenario file."""

    name: str
    about: str = ""
    track: TrackLayout
    revolutions: int = Key(1, ge=1, le=1000)
    host: HostPart = HostPart()
    levels: dict[Literal["dma_active", "writing", "wait_for_sync"], int | Toggle] = Key({})
    resets: list[ResetPulse] = Key([])

    def program(self, seed: int) -> Program:
        """Start the host program; one that takes a seed gets the scenario's."""
        make = PROGRAMS[self.host.program]
        params = dict(self.host.params)
        if "seed" in inspect.signature(make).parameters:
            params.setdefault("seed", seed)
        return make(**params)

    def needs(self) -> set[str]:
        """Return the inputs and registers a core must have to run this scenario."""
        return {name for name, level in self.levels.items() if level != 0}


@dataclass(frozen=True)
class Disk:
    """A scenario's disk turning under the head of one profile: the stimulus it makes.

    Channel bit i arrives at edge `start + floor((i + 1) * cycles_per_bit)`. Reset is asserted from
    edge 0 to `start - 1`.
    """

    scenario: Scenario
    track: Track
    profile: Profile
    start: int = RESET_CYCLES

    @property
    def cycles(self) -> int:
        """Length of the whole run in cycles."""
        return self._revolution_end(self.scenario.revolutions - 1)

    def revolutions(self) -> Iterator[Stimulus]:
        """Yield the stimulus revolution by revolution, without host accesses."""
        length = len(self.track.bits)
        levels = {name: self._level(level) for name, level in self.scenario.levels.items()}
        first = 0
        for turn in range(self.scenario.revolutions):
            end = self._revolution_end(turn)
            yield Stimulus(
                first,
                end - first,
                bit_cycle=strobe_cycles(
                    turn * length, length, self.profile.cycles_per_bit, self.start
                ),
                bit=bits_of_revolutions(self.track, turn * length, length),
                levels={n: lane.between(first, end) for n, lane in levels.items()},
                resets=self._resets(first, end),
            )
            first = end

    def place(self, cycle: int) -> str:
        """Say what is under the head in a cycle: revolution, and place on the track."""
        passed = int((cycle - self.start) / self.profile.cycles_per_bit) + 1
        index = int(np.searchsorted(self._near(passed), cycle, side="right")) + max(passed - 3, 0)
        if index == 0:
            return "before the first channel bit"
        turn, bit = divmod(index - 1, len(self.track.bits))
        return f"revolution {turn + 1}, {self.track.place(bit)} (channel bit {bit})"

    def _near(self, index: int) -> Cycles:
        """Return the arrival of a few channel bits from `index - 3` on."""
        return strobe_cycles(max(index - 3, 0), 8, self.profile.cycles_per_bit, self.start)

    def _revolution_end(self, turn: int) -> int:
        """Return the first cycle after revolution `turn`: its last bit has arrived."""
        length = len(self.track.bits)
        last = strobe_cycles((turn + 1) * length - 1, 1, self.profile.cycles_per_bit, self.start)
        return int(last[0]) + 1

    def _level(self, level: int | Toggle) -> Lane:
        """Return a level input over the whole run, 0 while the first reset lasts."""
        if isinstance(level, Toggle):
            step = level.toggle_every
            cycle = np.arange(self.start, self.cycles, step)
            return Lane.of(
                np.concatenate(([0], cycle)), np.concatenate(([0], np.arange(len(cycle)) % 2 ^ 1))
            )
        return Lane.of(np.array([0, self.start]), np.array([0, level]))

    def _resets(self, first: int, end: int) -> tuple[tuple[int, int], ...]:
        """Return the reset spans in cycles `first` .. `end - 1`."""
        spans = [(0, self.start)]
        spans += [(pulse.at, pulse.at + pulse.cycles) for pulse in self.scenario.resets]
        clipped = ((max(a, first), min(b, end)) for a, b in sorted(spans))
        return tuple((a, b) for a, b in clipped if a < b)


def seed_of(name: str, seed: int) -> int:
    """Return a scenario's own seed: the run's seed and the scenario's name, mixed."""
    return zlib.crc32(f"{seed}:{name}".encode())


def load_scenario(path: Path) -> Scenario:
    """Load and check one scenario file; raise InputError with every fault in it."""
    document = load(path)
    scenario = document.validate(Scenario)
    _check_host(document, scenario)
    return scenario


def _check_host(document: Document, scenario: Scenario) -> None:
    """Raise InputError for a program that does not exist or does not take a parameter."""
    host = scenario.host
    if host.program not in PROGRAMS:
        message = f"no host program '{host.program}'{near(host.program, PROGRAMS)}"
        raise InputError([document.problem(("host", "program"), message)])
    known = inspect.signature(PROGRAMS[host.program]).parameters
    problems = [
        document.problem(
            ("host", "params", name), f"{host.program} has no parameter '{name}'{near(name, known)}"
        )
        for name in host.params
        if name not in known
    ]
    if problems:
        raise InputError(problems)


def suite_names() -> list[str]:
    """Return the names of the suites that ship."""
    return sorted(path.name for path in SCENARIOS.iterdir() if path.is_dir())


def load_suite(name: str) -> list[tuple[Path, Scenario]]:
    """Return the scenarios of a shipped suite, of a folder, or of one file.

    Raises UserError when there is nothing of that name or a folder holds no scenario.
    """
    if name in suite_names():
        folder = SCENARIOS / name
    elif Path(name).is_file():
        return [(Path(name), load_scenario(Path(name)))]
    elif Path(name).is_dir():
        folder = Path(name)
    else:
        raise UserError(f"suite '{name}': no such suite, folder or file{near(name, suite_names())}")
    paths = sorted(folder.glob("*.yaml"))
    if not paths:
        raise UserError(f"{folder}: holds no scenario (*.yaml)")
    return [(path, load_scenario(path)) for path in paths]
