"""The cocotb test of a session that plays runs as the bench asks for them."""

from __future__ import annotations

import filecmp
import os
import shutil
from dataclasses import replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import cocotb

from testbenches.job import TRIALS, Asked, Job, RunDone
from testbenches.session_tests import play

AS_IT_WAS: dict[int, RunDone] = {}  # what became of each run without a mutant
RECORDS = ("changes", "unknown", "reads", "moves")


@cocotb.test()
async def on_demand(dut: Any) -> None:
    """Play the runs that are asked for, and answer with what became of them."""
    bench = Connection(int(os.environ[TRIALS]))
    folder = Job.read(os.environ["CELLSTEP_JOB"]).folder
    bench.send(None)  # built and started
    while (asked := bench.recv()) is not None:
        bench.send(await _played(dut, asked, folder))


async def _played(dut: Any, asked: Asked, folder: Path) -> list[RunDone]:
    """Play runs, up to the first that a mutant does not leave as it was without one."""
    done: list[RunDone] = []
    if asked.mutant is not None:
        dut.mutant.value = asked.mutant
        whole = asked.to_end or any(run.live for run in asked.runs)
        dut.against.value = int(asked.mutant > 0 and not whole)
    for run in asked.runs:
        done.append(await play(dut, run))
        if asked.mutant == 0:
            _keep(folder, done[-1])
        elif asked.mutant and not _alike(folder, done[-1]):
            break
    return done


def _keep(folder: Path, done: RunDone) -> None:
    """Lay aside what a run left."""
    for path in _records(folder, done.index):
        shutil.copyfile(path, _kept(path))
    AS_IT_WAS[done.index] = replace(done, seconds=0.0)


def _alike(folder: Path, done: RunDone) -> bool:
    """Return whether a run left what was laid aside."""
    same = AS_IT_WAS[done.index] == replace(done, seconds=0.0)
    records = _records(folder, done.index)
    return same and all(filecmp.cmp(path, _kept(path), shallow=False) for path in records)


def _records(folder: Path, index: int) -> list[Path]:
    found = (folder / f"{index}.{name}" for name in RECORDS)
    return [path for path in found if path.exists()]


def _kept(path: Path) -> Path:
    return path.with_name(path.name.replace(".", ".own_"))
