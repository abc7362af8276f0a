"""Runs a case against the model."""

from __future__ import annotations

from pathlib import Path

from refmodel.block.profile import Profile
from refmodel.host.disk import Disk
from refmodel.host.play import ModelPlayer
from refmodel.host.processor import Processor
from refmodel.host.scenario import Scenario


def disk_of(scenario: Scenario, profile: Profile, folder: Path) -> Disk:
    """Return the disk of a scenario that has its own seed."""
    seed = scenario.own_seed(0)
    track = scenario.track.build(seed, folder)
    others = tuple(part.build(seed, folder) for part in scenario.tracks)
    return Disk(scenario, track, profile, seed=seed, tracks=others)


def processor_of(disk: Disk) -> Processor:
    """Return the processor that runs a disk's program."""
    program = disk.scenario.program(disk.seed)
    return Processor(program, disk.profile, start=disk.start, machine=disk.machine)


def run_model(disk: Disk) -> object:
    """Return what the disk's program returns when it meets the model, or how far it came."""
    processor = processor_of(disk)
    for _ in ModelPlayer(disk.profile, processor).play(disk.revolutions()):
        if processor.ended:
            break
    return processor.told
