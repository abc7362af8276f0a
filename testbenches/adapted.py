"""Cores that lack what host programs write in passing, or have it in another place.

What is written to control has one effect that a core may have in another way: wait_for_sync, on a
port. The bench moves that port as the program's writes would have moved the bit. The other way
round, a level that a scenario gives is written to control in a core that has no port for it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from refmodel.block.control import WAIT_FOR_SYNC, next_control
from refmodel.ground.bus import WRITE_CONTROL
from refmodel.ground.lane import Lane, either
from refmodel.ground.stimulus import Stimulus
from refmodel.host.lacking import CONTROL, NOTHING, Lacking
from refmodel.world.disk import Disk
from refmodel.world.levels import Changing, Level, LevelName, in_cycles, lane_of
from refmodel.world.scenario import Scenario
from testbenches.binding.schema import Binding

WAITS = "wait_for_sync"
OTHERS = ("slow_bits", "top_bit_framing", "precompensation")


def lacking_of(binding: Binding, program: str) -> Lacking:
    """Return what a program can do without, and what it cannot ask for."""
    if binding.bus is None:
        return NOTHING
    missing, memory = binding.registers_unbound, binding.memory
    ways = memory.ways_lacking if memory is not None else ()
    return Lacking.of(program, missing, ways, waits_on_a_port(binding))


def waits_on_a_port(binding: Binding) -> bool:
    """Return whether the core has wait_for_sync on a port in place of a bit of control."""
    missing = binding.bus is not None and CONTROL not in binding.registers
    return missing and WAITS in binding.level_inputs


def waits_in_control(binding: Binding, scenario: Scenario) -> Level:
    """Return the level that a scenario has on a port, and the core in a bit of control only."""
    if WAITS in binding.level_inputs or CONTROL not in binding.registers:
        return 0
    return scenario.levels.get("wait_for_sync", 0)


def disk_with_waits_alone(disk: Disk) -> Disk:
    """Return a disk under the head of a block whose control has wait_for_sync alone."""
    only = {"control_layout": dict.fromkeys(OTHERS, None)}
    return replace(disk, profile=disk.profile.model_copy(update=only))


def with_waits(disk: Disk, spans: Iterator[Stimulus]) -> Disk:
    """Return a disk whose level wait_for_sync is up where its scenario or control has it up."""
    written = _held(spans)
    if len(written.cycle) == 1:
        return disk
    levels: dict[LevelName, Level] = dict(disk.scenario.levels)
    given = in_cycles(levels.get("wait_for_sync", 0), disk.profile)
    level = either(lane_of(given, disk.start, 0, disk.cycles), written)
    later = level.cycle[level.cycle > 0] if not level.value[0] else level.cycle
    levels["wait_for_sync"] = Changing(changes_at=later.tolist())
    return replace(disk, scenario=disk.scenario.model_copy(update={"levels": levels}))


def _held(spans: Iterator[Stimulus]) -> Lane:
    """Return the bit that the writes of control in a run leave up; a reset takes it away."""
    changes = [(0, 0)]
    control = 0
    for span in spans:
        events = [(at, value) for at, _, value in span.writes(WRITE_CONTROL)]
        events += [(first, -1) for first, _ in span.resets]
        for at, value in sorted(events):
            in_reset = value < 0 or any(a <= at < b for a, b in span.resets)
            control = 0 if in_reset else next_control(control, value) & WAIT_FOR_SYNC
            changes.append((at, control))
    cycle, value = np.array(changes, np.int64).T
    return Lane.of(cycle, value)
