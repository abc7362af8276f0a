"""A mismatch is gone through again from a snapshot, with every signal of the core in a VCD."""

import os
import signal
import subprocess
import time
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import pywellen  # a library that reads waves
from command import COMMAND, cellstep

from hdl_stubs.defects import HERE
from refmodel.block.fields import Layout
from refmodel.world.find import find_suite
from refmodel.world.load import load_scenario
from testbenches.binding.load import load_binding
from testbenches.job import Traced
from testbenches.lockstep import Lockstep
from testbenches.recorder import Recorder
from testbenches.suite import Options, quiet, run_suite

REGISTERED = HERE / "plain/registered/binding.yaml"
ACKNOWLEDGED = HERE / "plain/acknowledged/binding.yaml"
LONG = """\
name: long
track: {layout: random, bits: 80000, marks: 800}
host: {program: random_accesses, params: {sync_words: [0x4489], longest: 50}}
"""  # a million cycles and more: a snapshot at its start and two within
REALLY_CLEAR = {"ready_tie": "clear_wins"}  # the core does not: it mismatches


def waves(content, folder):
    """Return the changes of each signal of a VCD, as a library outside the project reads it."""
    path = folder / "read.vcd"
    path.write_bytes(content)
    found = pywellen.Waveform(str(path), multi_threaded=False).all_vars()
    return {v.full_name.partition(".")[2].replace("\\", ""): list(v.tv) for v in found}


def by_cycle(signals, name):
    """Return a signal's value at the end of each whole cycle of a VCD."""
    starts = signals["cycle_now"]
    times = [at for at, _ in signals[name]]
    found = {}
    for (_, cycle), (end, _) in pairwise(starts[1:]):
        place = np.searchsorted(times, end - 1, side="right") - 1
        found[int(cycle)] = int(signals[name][place][1])
    return found


def mismatch_of(path, scenario, simulator, live=False):
    """Return the outcome of a core that mismatches, with its signals."""
    options = Options("b.yaml", [simulator], policies=REALLY_CLEAR, live=live, trace=True)
    (run,) = run_suite(load_binding(path), find_suite(scenario), options).runs
    return run.outcome


def assert_shown(words, lanes):
    """Hold the status of some cycles to the fields that a run recorded."""
    assert len(words) > 100
    for field in Layout().fields:
        lane = lanes[field.name]
        at = np.searchsorted(lane.cycle, list(words), side="right") - 1
        expected = lane.value[at].tolist()
        assert expected == [word >> field.lsb & field.mask >> field.lsb for word in words.values()]


def running(*words):
    """Return the processes whose command has some words in it."""
    found = []
    for process in Path("/proc").glob("[0-9]*"):
        try:
            command = (process / "cmdline").read_bytes().decode(errors="replace")
        except OSError:
            continue
        if all(word in command for word in words) and int(process.name) != os.getpid():
            found.append(int(process.name))
    return found


def are_gone(*words, seconds=20):
    """Return whether no process has some words in its command any more, or soon."""
    end = time.monotonic() + seconds
    while running(*words) and time.monotonic() < end:
        time.sleep(0.1)
    return not running(*words)


@pytest.mark.parametrize(
    "simulator", ["icarus", pytest.param("verilator", marks=pytest.mark.long)], indirect=True
)
def test_signals_are_those_of_the_run_that_was_compared(simulator, tmp_path):
    """In each cycle around the mismatch the VCD has what the run showed that found it."""
    outcome = mismatch_of(REGISTERED, "aimed/dense_status", simulator)
    signals = waves(outcome.signals, tmp_path)
    finding = outcome.finding
    marks = [cycle for cycle, is_it in by_cycle(signals, "marked").items() if is_it]
    assert [finding.mismatch.cycle] == marks
    words = by_cycle(signals, "dut.status")
    assert_shown(words, finding.shown.observed.lanes)
    assert signals["dut.window"]  # within the core, where nothing is bound


@pytest.mark.long
def test_live_run(simulator, tmp_path):
    """A host program within the simulator goes on from the snapshot as well."""
    outcome = mismatch_of(ACKNOWLEDGED, "aimed/dense_status", simulator)
    cycle = outcome.finding.mismatch.cycle
    marked = by_cycle(waves(outcome.signals, tmp_path), "marked")
    assert 1 == marked[cycle]
    assert marked[cycle + 100] == 0


@pytest.mark.rest
def test_run_goes_on_from_the_middle(simulator, tmp_path):
    """The last snapshot before the cycles wanted is taken: those before it need not be there."""
    path = tmp_path / "long.yaml"
    path.write_text(LONG)
    lockstep = Lockstep(load_binding(REGISTERED), tmp_path / "work", 1, {})
    lockstep.trace()
    ready = lockstep.prepare([(path, load_scenario(path))], quiet)
    session = lockstep.session(simulator)
    try:
        lockstep.play(ready, session, lockstep.runs(ready))
        folder = session.job().snapshots(0)
        start, *inside = sorted(folder.iterdir(), key=lambda pipe: int(pipe.name))
        assert ["0", 2] == [start.name, len(inside)]
        first, end = (int(inside[-1].name) + more for more in (60_000, 61_000))
        start.unlink()
        inside[0].unlink()
        signals = waves(session.signals(0, Traced(first, end, end - 10)), tmp_path)
        assert by_cycle(signals, "marked")[end - 10]
        shown = Recorder(lockstep.binding, Layout(), session.job().folder, 0).observed(0, end)
        assert_shown(by_cycle(signals, "dut.status"), shown.lanes)
        assert None is session.signals(0, Traced(50, 100, 60))  # no snapshot is left before it
    finally:
        session.let_go()
    assert are_gone(str(tmp_path))


def test_waves_without_a_folder():
    """There must be a folder of results for the waves."""
    done = cellstep("run", REGISTERED, "--trace")
    assert 2 == done.returncode
    assert "--out" in done.stderr


@pytest.mark.rest
def test_folder_of_results(tmp_path):
    """The signals lie beside the waves of the mismatch, and go with the next run."""
    words = (
        "run",
        REGISTERED,
        "--suite",
        "aimed/dense_status",
        "--sim",
        "icarus",
        "--out",
        tmp_path,
    )
    assert 1 == cellstep(*words, "--trace", "--policy", "ready_tie=clear_wins").returncode
    name = "mismatch-dense_status-icarus"
    assert [f"{name}.signals.vcd", f"{name}.vcd"] == sorted(p.name for p in tmp_path.glob("*.vcd"))
    assert 0 == cellstep(*words).returncode
    assert [] == list(tmp_path.glob("*.vcd"))


@pytest.mark.long
def test_bench_killed_while_snapshots_wait(simulator, tmp_path):
    """No copy of a simulator stays behind when its bench is killed."""
    words = (
        "run",
        REGISTERED,
        "--suite",
        "quick",
        "--sim",
        simulator,
        "--trace",
        "--out",
        tmp_path,
    )
    process = subprocess.Popen(
        [*COMMAND, *map(str, words)],
        env={**os.environ, "TMPDIR": str(tmp_path)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    mark = f"{tmp_path}/cellstep-"
    while len(running(mark, "+bench_")) < 4:
        assert process.poll() is None
        time.sleep(0.05)
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    assert are_gone(mark)
