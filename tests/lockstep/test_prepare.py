"""A suite is made ready in the same way here and in processes of its own."""

from pathlib import Path

import numpy as np
import pytest

from refmodel.ground.errors import UserError
from refmodel.host.catalogue import FILES
from refmodel.world.find import find_suite
from refmodel.world.load import load_scenario
from testbenches import prepared as module
from testbenches.binding.load import load_binding
from testbenches.lockstep import Lockstep
from testbenches.prepared import Preparation

BINDING = Path("hdl_stubs/reference/binding.yaml")
OWN = """from refmodel.host.program import Read


def early():
    while True:
        yield Read("status", cost=0)
"""
FAULTY = """name: faulty
track: {layout: words, words: [0x9254], repeat: 9}
host: {program: early}
"""


@pytest.fixture
def in_workers(monkeypatch):
    """Let two worker processes prepare whatever there is."""
    monkeypatch.setattr(module, "WORTH_WORKERS", -1)
    monkeypatch.setattr(module, "processors", lambda: 2)


def prepared(work, scenarios):
    """Return what is reported, what is made ready, and the bytes of the events."""
    told = []
    ready = Preparation(load_binding(BINDING), work, 1, {}).prepare(scenarios, told.append)
    return told, ready, [(work / f"{p.index}.events").read_bytes() for p in ready]


@pytest.mark.usefixtures("in_workers")
def test_same_events_and_accesses(tmp_path, monkeypatch):
    """Workers write the same events and send back the same accesses, in the suite's order."""
    suite = find_suite("quick")
    told, far, far_events = prepared(tmp_path / "far", suite)
    assert f"model: prepared {len(suite)} of {len(suite)} scenarios" == told[-1]
    monkeypatch.setattr(module, "WORTH_WORKERS", 1 << 62)
    told, here, here_events = prepared(tmp_path / "here", suite)
    assert [f"model: preparing {scenario.name}" for _, scenario in suite] == told
    assert far_events == here_events
    assert [p.path for p in here] == [p.path for p in far] == [path for path, _ in suite]
    for one, other in zip(here, far, strict=True):
        assert len(one.accesses) == len(other.accesses) > 0
        for a, b in zip(one.accesses, other.accesses, strict=True):
            np.testing.assert_array_equal(a.access_cycle, b.access_cycle)
            np.testing.assert_array_equal(a.access_value, b.access_value)


@pytest.mark.usefixtures("in_workers")
def test_a_fault_of_a_program_is_told_alike(tmp_path, monkeypatch):
    """What a program of the user's own does wrong has the same message from a worker."""
    (tmp_path / "own.py").write_text(OWN)
    monkeypatch.setenv(FILES, str(tmp_path / "own.py"))
    path = tmp_path / "faulty.yaml"
    path.write_text(FAULTY)
    faulty = [(path, load_scenario(path))] * 2
    with pytest.raises(UserError) as far:
        prepared(tmp_path / "far", faulty)
    monkeypatch.setattr(module, "WORTH_WORKERS", 1 << 62)
    with pytest.raises(UserError) as here:
        prepared(tmp_path / "here", faulty)
    assert f"{path}:" in str(here.value)
    assert "cost must be 1 cycle or more" in str(here.value)
    assert str(here.value) == str(far.value)


def test_a_laid_memory_file_is_never_put_in_the_place_of_another(tmp_path, monkeypatch):
    """Two sessions lay the same words at once: who links to the first's file still finds it."""
    lockstep = Lockstep(load_binding(BINDING), tmp_path, 1, {})
    words = np.arange(4, dtype=np.uint16)
    first = lockstep._memory_file(words)
    inode = first.stat().st_ino
    monkeypatch.setattr(Path, "exists", lambda _: False)  # as the second has seen it
    second = lockstep._memory_file(words)
    assert (inode, words.astype(">u2").tobytes()) == (second.stat().st_ino, second.read_bytes())
    assert [first] == list(tmp_path.glob(f"{first.stem}.*"))
