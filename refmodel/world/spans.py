"""A scenario on the model alone, revolution by revolution."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

from refmodel.block.registers import State
from refmodel.engine.timeline import Expected, Timeline
from refmodel.ground.bus import DRIVE_LINES, DRIVE_STATUS
from refmodel.ground.errors import reading
from refmodel.ground.stimulus import Stimulus
from refmodel.host.processor import REGISTERS
from refmodel.profile import Profile
from refmodel.world.disk import Disk
from refmodel.world.drive_world import DriveWorld
from refmodel.world.scenario import Scenario
from refmodel.world.world import World


class Span(NamedTuple):
    """A revolution: the model's state before it, what arrives, and what the block shows."""

    state: State
    stimulus: Stimulus
    expected: Expected


class Way(NamedTuple):
    """A way through a scenario, and what is under the head in a cycle of it."""

    spans: Iterator[Span]
    place: Callable[[int], str]


def disk_of(path: Path, scenario: Scenario, profile: Profile, seed: int) -> Disk:
    """Return the disk of a scenario file, what is random on it drawn from a run's seed."""
    with reading(path):
        return Disk.of(scenario, profile, path.parent, scenario.own_seed(seed))


def spans_of(path: Path, disk: Disk) -> Iterator[Span]:
    """Yield the revolutions of a scenario file, with the host's accesses."""
    return way_of(path, disk).spans


def way_of(path: Path, disk: Disk) -> Way:
    """Return the model's way through a scenario file, with the host's accesses.

    With drives its spans are shorter than a revolution: one ends where a line of a drive moves.
    """
    if disk.scenario.drives is None:
        return Way(
            _named(path, disk, lambda: (s for s, _ in World(disk, disk.processor()).spans())),
            disk.place,
        )
    with reading(path):
        processor = disk.processor(registers=(*REGISTERS, DRIVE_LINES, DRIVE_STATUS))
        world = DriveWorld(disk, path.parent, processor)
    return Way(_named(path, disk, world.spans), world.cabled.place)


def _named(path: Path, disk: Disk, stimuli: Callable[[], Iterator[Stimulus]]) -> Iterator[Span]:
    """Yield the spans of stimuli; the faults met on the way name the file."""
    with reading(path):
        yield from through(disk.profile, stimuli())


def through(profile: Profile, stimuli: Iterable[Stimulus]) -> Iterator[Span]:
    """Yield each stimulus with what the block, in its reset state at first, makes of it."""
    timeline = Timeline(profile)
    for stimulus in stimuli:
        state = timeline.state
        yield Span(state, stimulus, timeline.run(stimulus))
