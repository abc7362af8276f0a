"""What a scenario says of its drives and cannot mean."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from refmodel.drive.ticks import Ticks
from refmodel.ground.duration import cycles_of, is_duration
from refmodel.ground.errors import InputError, Problem, UserError
from refmodel.ground.yamlfile import Document
from refmodel.world.disk import Disk
from refmodel.world.drive_setup import DriveSetup
from refmodel.world.scenario import Scenario

OF_ONE_TRACK = ("tracks", "steps", "written", "density", "resets", "levels", "separator")


def drive_problems(document: Document, scenario: Scenario, folder: Path) -> list[Problem]:
    """Return what is wrong with a scenario's drives, as far as it shows without a profile."""
    setup = scenario.drives
    if setup is None:
        return []
    problems = [
        document.problem((key,), f"{key} goes with one disk that turns by itself, not with drives")
        for key in OF_ONE_TRACK
        if getattr(scenario, key)
    ]
    for n, unit in enumerate(setup.units):
        try:
            unit.load_profile(folder)
        except InputError as error:
            problems += error.problems
        except UserError as error:
            key = "cylinder" if str(error).startswith("cylinder: ") else "profile"
            message = str(error).removeprefix("cylinder: ")
            problems.append(document.problem(("drives", "units", n, key), message))
    return problems


def check_rates(disk: Disk, setup: DriveSetup, folder: Path) -> None:
    """Raise UserError if the host program steps faster than a drive it steps."""
    params = disk.scenario.host.params
    given = params.get("step_time")
    if given is None:
        return
    ticks = Ticks(disk.profile.clock_hz)
    cycles = cycles_of(given, *_clock(disk)) if is_duration(given) else given
    for unit in setup.units:
        if unit.select not in _stepped(params, setup):
            continue
        period = unit.load_profile(folder).step.period_us.use
        if cycles < ticks.of(period):
            raise disk.scenario.fault(
                ("host", "params", "step_time"),
                f"'{given}' is faster than drive {unit.select} steps: its profile {unit.profile}"
                f" has {period:g} us; give that or more",
            )


def _clock(disk: Disk) -> tuple[Any, Any]:
    return disk.profile.clock_hz, disk.profile.cycles_per_bit


def _stepped(params: dict[str, Any], setup: DriveSetup) -> list[int]:
    """Return the drives a program is told to step; all of them if it does not say."""
    if "drives" in params:
        return list(params["drives"])
    return [params["drive"]] if "drive" in params else [u.select for u in setup.units]
