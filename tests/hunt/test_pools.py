"""Whoever plays the cases, the result is the same; a scheduler that goes away costs nothing."""

import json
import os
import signal
import subprocess
import sys
import threading
import time
from functools import partial

import pytest

from hdl_stubs.defects import HERE
from refmodel.engine.meetings import Meetings, Met
from refmodel.ground.errors import UserError
from refmodel.ground.workers import Workers
from refmodel.hunt.found import Batch, Failed, Kind
from testbenches.hunt import pool
from testbenches.hunt.case_player import Quarry
from testbenches.hunt.hunter import Hunter

PLAIN = HERE / "plain/registered/binding.yaml"
QUARRY = Quarry(PLAIN, "icarus")
PARTS = [range(n, n + 5) for n in range(1, 31, 5)]


def played(quarry, seeds, aims=(), wait=0.0):
    """Return what a batch could be: a function of the seeds alone."""
    del aims
    time.sleep(wait)
    assert "icarus" == quarry.simulator
    batch = Batch(seeds, 100 * len(seeds))
    batch.failed = [Failed(n, Kind("data", "B4", "status"), n) for n in seeds if n % 7 == 0]
    batch.met.counts[Met("bit", "read", seeds.start % 3, "idle")] = len(seeds)
    return batch


def all_of(who):
    """Have all parts played; return the batches in order."""
    waiting = [who.submit(QUARRY, part, ()) for part in PARTS]
    return [waits() for waits in waiting]


def merged(batches):
    """Return everything some batches say, added up."""
    met = Meetings()
    for batch in batches:
        met += batch.met
    failed = [failure for batch in batches for failure in batch.failed]
    return failed, sum(batch.cycles for batch in batches), dict(met.counts)


class Cluster:
    """A scheduler and its workers, processes of their own."""

    def __init__(self, folder, workers=2):
        self.file = folder / "scheduler.json"
        here = ["--no-dashboard", "--scheduler-file", str(self.file)]
        self.processes = [self._start("scheduler", "--port", "0", "--host", "127.0.0.1", *here)]
        while not self.file.exists():
            time.sleep(0.05)
        self.address = json.loads(self.file.read_text())["address"]
        one = [self.address, "--nthreads", "1", "--no-dashboard", "--no-nanny"]
        self.processes += [self._start("worker", *one) for _ in range(workers)]

    def _start(self, *words):
        path = os.pathsep.join(sys.path)
        return subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_" + words[0], *words[1:]],
            env={**os.environ, "PYTHONPATH": path},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    def stop(self):
        """End what is still there."""
        for process in self.processes:
            process.kill()
            process.wait()


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    """Return a cluster of two workers."""
    pytest.importorskip("distributed")
    made = Cluster(tmp_path_factory.mktemp("cluster"))
    yield made
    made.stop()


def test_local_pool_is_one_process(monkeypatch):
    """Processes beside this one return what it would have returned, in the same order."""
    monkeypatch.setattr(pool, "play_batch", played)
    alone = all_of(pool.Alone())
    with Workers(2) as workers:
        assert merged(alone) == merged(workers.all([partial(played, QUARRY, p) for p in PARTS]))


@pytest.mark.long
def test_cluster_is_the_local_pool(cluster, monkeypatch):
    """Two workers of a scheduler return the same batches."""
    monkeypatch.setattr(pool, "play_batch", played)
    with pool.Scheduled(cluster.address, pytest.fail) as scheduled:
        assert merged(all_of(pool.Alone())) == merged(all_of(scheduled))


@pytest.mark.long
@pytest.mark.parametrize("killed", [slice(1), slice(1, 3)])
def test_lost_scheduler_or_workers(tmp_path, monkeypatch, killed):
    """What is left when the scheduler or the workers die is played here, and that is said."""
    pytest.importorskip("distributed")
    made, told = Cluster(tmp_path), []
    monkeypatch.setattr(pool, "play_batch", partial(played, wait=0.5))
    try:
        with pool.Scheduled(made.address, told.append) as scheduled:
            for process in made.processes[killed]:
                threading.Timer(0.8, os.kill, (process.pid, signal.SIGKILL)).start()
            batches = all_of(scheduled)
    finally:
        made.stop()
    assert merged([played(QUARRY, p) for p in PARTS]) == merged(batches)
    assert "what is left is played here" in told[0]


def test_no_scheduler_there(monkeypatch):
    """An address at which nobody answers is bad input."""
    pytest.importorskip("distributed")
    monkeypatch.setattr(pool, "CONNECT", 0.3)
    with pytest.raises(UserError, match=r"--scheduler tcp://127\.0\.0\.1:1: no scheduler answers"):
        pool.Scheduled("tcp://127.0.0.1:1", print)


@pytest.mark.long
def test_hunt_is_the_same_with_all(cluster):
    """A hunt of a real core finds and counts the same, alone, in two processes, on a cluster."""
    found = []
    with pool.Local(2) as local, pool.Scheduled(cluster.address, pytest.fail) as scheduled:
        for who in (pool.Alone(), local, scheduled):
            with Hunter(PLAIN, "icarus", {}, lambda _: None, 1, who) as hunter:
                hunted = hunter.hunt(1e9, 120)
            found.append((hunted.cases, hunted.cycles, hunted.verdict, hunted.met.counts))
    assert found[0] == found[1] == found[2]
