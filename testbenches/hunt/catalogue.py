"""Hunts every defect of the catalogue by the command, and prints what it found, as a table.

python -m testbenches.hunt.catalogue [DEFECT ...] [--sim icarus] [--seconds 60]
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hdl_stubs.defects import REFERENCE, Defect, apply, load_defects
from refmodel.hunt.case import CaseEvent, DrawnCase
from testbenches.toolchain import available

COMMAND = [sys.executable, "-m", "refmodel.cli.main", "hunt"]
HEAD = "| defect | against | found as | events | tried | s to shrink | CPU s in all |"
RULE = "|---|---|---|---|---|---|---|"
MOST_EVENTS = 8


@dataclass(frozen=True)
class Sought:
    """What became of one defect; `failure` is as hunt.json has it, None if nothing was found.

    `spent` are seconds of a processor, for everything from the binding to the smallest case.
    """

    defect: Defect
    failure: dict[str, Any] | None
    spent: float

    @property
    def events(self) -> int:
        """How many events are left, channel bits in a row being one."""
        assert self.failure is not None, "only what was found has events"
        return len(DrawnCase(0, tuple(CaseEvent(**e) for e in self.failure["events"])).parts())

    @property
    def short(self) -> str:
        """Say what falls short; empty if nothing does."""
        if self.failure is None:
            return "not found"
        wrong = "another clause" if self.failure["clause"] != self.defect.clause else ""
        many = "too many events" if self.events > MOST_EVENTS else ""
        return ", ".join(filter(None, (wrong, many)))

    def line(self) -> str:
        """Return the line of the table."""
        name, clause = self.defect.name, self.defect.clause
        if self.failure is None:
            return f"| {name} | {clause} | not found | | | | {self.spent:.1f} |"
        found = f"{self.failure['clause']} {self.failure['field']}"
        tried, took = self.failure["shrink_cases"], self.failure["shrink_seconds"]
        return (
            f"| {name} | {clause} | {found} | {self.events} | {tried} | {took:.1f} |"
            f" {self.spent:.1f} |"
        )


def sought(defect: Defect, simulator: str, seconds: float, work: Path) -> Sought:
    """Put a defect into a copy of the reference core in a folder, and hunt it by the command."""
    core, out = work / "core", work / "found"
    apply(defect, REFERENCE, core)
    words = [*COMMAND, core / "binding.yaml", "--seconds", seconds, "--sim", simulator]
    before = os.times()
    done = subprocess.run(
        [*map(str, words), "--workers", "1", "--out", str(out)],
        capture_output=True,
        text=True,
        check=False,
    )
    after = os.times()
    if done.returncode not in (0, 1):
        raise SystemExit(f"{defect.name}: {done.stderr}")
    spent = sum(after[2:4]) - sum(before[2:4])
    failures = json.loads((out / "hunt.json").read_text())["hunts"][0]["failures"]
    return Sought(defect, failures[0] if failures else None, spent)


def all_sought(names: Sequence[str], simulator: str, seconds: float) -> Iterator[Sought]:
    """Hunt the defects of some names, one after the other; all of them if none is named."""
    for defect in load_defects():
        if not names or defect.name in names:
            with tempfile.TemporaryDirectory(prefix="cellstep-") as work:
                yield sought(defect, simulator, seconds, Path(work))


def main() -> None:
    """Print the table, line by line as it is measured, and what falls short."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("defects", nargs="*", metavar="DEFECT", help="By default all.")
    parser.add_argument("--sim", default=available()[-1], choices=available())
    parser.add_argument("--seconds", type=float, default=60.0, help="For each.")
    given = parser.parse_args()
    print(HEAD, RULE, sep="\n")
    found = []
    for one in all_sought(given.defects, given.sim, given.seconds):
        print(one.line(), flush=True)
        found.append(one)
    short = [f"{one.defect.name}: {one.short}" for one in found if one.short]
    print("", f"{len(found) - len(short)} of {len(found)}", *short, sep="\n")


if __name__ == "__main__":
    main()
