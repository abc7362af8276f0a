"""Runs a case against the model."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from pathlib import Path

import numpy as np

from refmodel.block.profile import Profile
from refmodel.engine.lane import Lane
from refmodel.engine.timeline import Timeline
from refmodel.host.disk import Disk
from refmodel.host.play import ModelPlayer
from refmodel.host.processor import REGISTERS, Processor
from refmodel.host.scenario import Scenario, Written
from refmodel.media.writing import Burst, WriteHead
from refmodel.protect.cases import Case


def disk_of(scenario: Scenario, profile: Profile, folder: Path) -> Disk:
    """Return the disk of a scenario that has its own seed."""
    seed = scenario.own_seed(0)
    track = scenario.track.build(seed, folder)
    others = tuple(part.build(seed, folder) for part in scenario.tracks)
    return Disk(scenario, track, profile, seed=seed, tracks=others)


def processor_of(disk: Disk, registers: Collection[str] = REGISTERS) -> Processor:
    """Return the processor that runs a disk's program on a core with these registers."""
    return Processor(
        disk.scenario.program(disk.seed),
        disk.profile,
        start=disk.start,
        registers=registers,
        machine=disk.machine,
    )


class _Used(Collection[str]):
    """The registers of a core that has every one; `names` are those that were asked for."""

    def __init__(self, names: set[str] | None = None) -> None:
        self.names = set() if names is None else names

    def __contains__(self, name: object) -> bool:
        self.names.add(str(name))
        return name in REGISTERS

    def __iter__(self) -> Iterator[str]:
        return iter(REGISTERS)

    def __len__(self) -> int:
        return len(REGISTERS)


def full_scenario(case: Case, profile: Profile, used: set[str] | None = None) -> Scenario:
    """Return the scenario of a case, with what the model writes in the run before, if there is one.

    The names of the registers that run accesses are added to `used`.
    """
    first = case.first_scenario()
    if first is None:
        return case.scenario()
    disk = disk_of(first, profile, case.check.path.parent)
    registers = _Used(used)
    player = ModelPlayer(profile, processor_of(disk, registers))
    timeline = Timeline(profile)
    written: list[Written] = []
    for stimulus in player.play(disk.revolutions()):
        lines = timeline.run(stimulus).lines
        written += written_in(lines, disk, stimulus.end)
    return case.scenario(written)


def written_in(lines: Mapping[str, Lane], disk: Disk, end: int) -> list[Written]:
    """Return what lies on the disk after a revolution with these write_gate and write_data."""
    bursts = WriteHead().take(lines["write_gate"], lines["write_data"], end)
    steps = [_bit_cycles(burst, disk.profile.cycles_per_written_bit) for burst in bursts]
    return [
        Written(
            first=burst.first - disk.start,
            bit_cycles=step,
            bits="".join(map(str, burst.bits(step).tolist())),
        )
        for burst, step in zip(bursts, steps, strict=True)
        if burst.end - burst.first >= step
    ]


def _bit_cycles(burst: Burst, nominal: int) -> int:
    """Return how long the bits of a burst are: its closest pulses are those of two ones in a row.

    So it is with any but a few words at random. A burst with fewer than two pulses is nominal.
    """
    apart = np.diff(burst.pulses)
    return int(apart.min()) if len(apart) else nominal


def run_model(disk: Disk, used: set[str] | None = None) -> object:
    """Return what the disk's program returns when it meets the model, or how far it came.

    The names of the registers it accesses are added to `used`.
    """
    processor = processor_of(disk, _Used(used))
    for _ in ModelPlayer(disk.profile, processor).play(disk.revolutions()):
        if processor.ended:
            break
    return processor.told
