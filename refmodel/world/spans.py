"""A scenario on the model alone, revolution by revolution."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

from refmodel.block.registers import State
from refmodel.engine.timeline import Expected, Timeline
from refmodel.ground.errors import reading
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import Profile
from refmodel.world.disk import Disk
from refmodel.world.scenario import Scenario
from refmodel.world.world import World


class Span(NamedTuple):
    """A revolution: the model's state before it, what arrives, and what the block shows."""

    state: State
    stimulus: Stimulus
    expected: Expected


def disk_of(path: Path, scenario: Scenario, profile: Profile, seed: int) -> Disk:
    """Return the disk of a scenario file, what is random on it drawn from a run's seed."""
    with reading(path):
        return Disk.of(scenario, profile, path.parent, scenario.own_seed(seed))


def spans_of(path: Path, disk: Disk) -> Iterator[Span]:
    """Yield the revolutions of a scenario file, with the host's accesses."""
    with reading(path):
        world = World(disk, disk.processor())
        yield from through(disk.profile, (stimulus for stimulus, _ in world.spans()))


def through(profile: Profile, stimuli: Iterable[Stimulus]) -> Iterator[Span]:
    """Yield each stimulus with what the block, in its reset state at first, makes of it."""
    timeline = Timeline(profile)
    for stimulus in stimuli:
        state = timeline.state
        yield Span(state, stimulus, timeline.run(stimulus))
