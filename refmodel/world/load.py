"""Loads a scenario file: its schema first, then what its program and its disk make of it."""

from __future__ import annotations

from pathlib import Path

from refmodel.ground.errors import InputError
from refmodel.ground.yamlfile import load
from refmodel.world.drive_faults import drive_problems
from refmodel.world.scenario import Scenario
from refmodel.world.scenario_faults import disk_problems, host_problems, program_problems


def load_scenario(path: Path) -> Scenario:
    """Load and check one scenario file; raise InputError with every fault in it."""
    document = load(path)
    scenario = Scenario.of(document)
    if problems := program_problems(document, scenario):
        raise InputError(problems)
    problems = host_problems(document, scenario.host, ("host",), scenario.program_files)
    problems += drive_problems(document, scenario, path.parent)
    problems += disk_problems(document, scenario, path.parent)
    if problems:
        raise InputError(problems)
    return scenario
