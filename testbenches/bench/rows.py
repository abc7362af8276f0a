"""A row of the table, and what all measurements use."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from refmodel.world.scenario import HostPart, Scenario
from refmodel.world.sector_layouts import IsoLayout

RUNS = 5
CORES = Path(str(resources.files("hdl_stubs")))
REFERENCE, BYTEWIDE = CORES / "reference" / "binding.yaml", CORES / "bytewide" / "binding.yaml"


@dataclass(frozen=True)
class BenchRow:
    """One line of the table."""

    what: str
    target: str
    measured: str
    meets: bool


def quiet(message: str) -> None:
    """Say nothing."""
    del message


def median_seconds(work: Callable[[], Any], runs: int = RUNS) -> float:
    """Return the median time of one call, after one that does not count."""
    work()
    times = []
    for _ in range(runs):
        started = time.perf_counter()
        work()
        times.append(time.perf_counter() - started)
    return statistics.median(times)


def scenario(turns: int, program: str = "read_every", **params: int) -> Scenario:
    """Return an ISO track with a host that reads status."""
    host = HostPart(program=program, params=params)
    track = IsoLayout(layout="iso")
    levels: Any = {"wait_for_sync": 1}
    return Scenario(name="bench", track=track, revolutions=turns, host=host, levels=levels)
