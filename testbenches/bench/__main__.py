"""`make bench`: measures the speeds the design promises and prints them beside their targets.

Every figure is a median of a few runs on this machine, ratios come from one session; nothing here
passes or fails. `python -m testbenches.bench --long` adds what takes minutes.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator

from rich.console import Console
from rich.table import Table

from refmodel.ground.processors import processors
from testbenches.bench.of_checker import checker_row
from testbenches.bench.of_commands import capture_rows, cores_row, edited_row, hunt_rows
from testbenches.bench.of_lockstep import live_rows, lockstep_rows
from testbenches.bench.of_the_model import flux_row, model_only, model_rows, revolutions_rows
from testbenches.bench.rows import BenchRow
from testbenches.toolchain import available

TARGETS = {"verilator": 2.0, "icarus": 0.6}  # M cycles/s of replay


def main() -> None:
    """Measure and print the table."""
    options = argparse.ArgumentParser(prog="python -m testbenches.bench", description=__doc__)
    options.add_argument("--long", action="store_true", help="more of each (takes minutes)")
    options.add_argument("--model-only", type=int, metavar="N", help=argparse.SUPPRESS)
    chosen = options.parse_args()
    if chosen.model_only:
        model_only(chosen.model_only)
        return
    console = Console()
    table = Table("what", "target", "measured", "", title="Cellstep, measured on this machine")
    with console.status("measuring") as status:
        for row in rows(chosen.long):
            status.update(f"measured: {row.what}")
            table.add_row(row.what, row.target, row.measured, "" if row.meets else "short")
    console.print(table)


def rows(long: bool) -> Iterator[BenchRow]:
    """Yield the rows in the table's order, each when it is measured."""
    here = [name for name in TARGETS if name in available()]
    yield from capture_rows(60 if long else 6)  # first: it shows the most memory of any child
    for simulator in here:
        yield from lockstep_rows(simulator, TARGETS[simulator])
        yield from live_rows(simulator)
        yield edited_row(simulator)
        yield checker_row(simulator)
    yield from model_rows()
    yield flux_row()
    yield from revolutions_rows(100 if long else 8)
    if "verilator" in here and processors() > 1:
        yield from hunt_rows()
    if len(here) == len(TARGETS) and processors() > 1 and hasattr(os, "sched_setaffinity"):
        yield cores_row(long)


if __name__ == "__main__":
    main()
