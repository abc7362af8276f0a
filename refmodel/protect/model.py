"""Runs a case against the model."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from pathlib import Path

from refmodel.ground.lane import Lane
from refmodel.host.processor import REGISTERS
from refmodel.media.writing import WriteHead
from refmodel.profile import Profile
from refmodel.protect.cases import Case
from refmodel.world.disk import Disk
from refmodel.world.scenario import Scenario, WrittenPart
from refmodel.world.spans import through
from refmodel.world.world import World, result_on_model


def disk_of(scenario: Scenario, profile: Profile, folder: Path) -> Disk:
    """Return the disk of a scenario that has its own seed."""
    return Disk.of(scenario, profile, folder, scenario.own_seed(0))


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
    world = World(disk, disk.processor(registers=registers))
    written: list[WrittenPart] = []
    for span in through(profile, (stimulus for stimulus, _ in world.spans())):
        written += written_in(span.expected.lines, disk, span.stimulus.end)
    return case.scenario(written)


def written_in(lines: Mapping[str, Lane], disk: Disk, end: int) -> list[WrittenPart]:
    """Return what lies on the disk after a revolution with these write_gate and write_data."""
    bursts = WriteHead().take(lines["write_gate"], lines["write_data"], end)
    steps = [burst.bit_cycles(disk.profile.cycles_per_written_bit) for burst in bursts]
    return [
        WrittenPart(
            first=burst.first - disk.start,
            bit_cycles=step,
            bits="".join(map(str, burst.bits(step).tolist())),
        )
        for burst, step in zip(bursts, steps, strict=True)
        if burst.end - burst.first >= step
    ]


def run_model(disk: Disk, used: set[str] | None = None) -> object:
    """Return what the disk's program returns when it meets the model, or how far it came.

    The names of the registers it accesses are added to `used`.
    """
    return result_on_model(disk, _Used(used))
