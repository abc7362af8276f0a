"""Shared by the lockstep tests: which simulators there are, and a quick way to run a core."""

from pathlib import Path

import pytest

from refmodel.host.scenario import load_suite
from testbenches.binding.schema import load_binding
from testbenches.lockstep import Lockstep
from testbenches.toolchain import available, why_not


@pytest.fixture(params=["icarus", "verilator"])
def simulator(request):
    """Each simulator in turn; skipped, with the reason, where it is missing."""
    if request.param not in available():
        pytest.skip(why_not(request.param))
    return request.param


@pytest.fixture
def outcomes(tmp_path, simulator):
    """Return a function that runs a binding through a suite and returns the outcomes."""

    def run(binding, suite="quick", seed=1, live=False, policies=None):
        lockstep = Lockstep(
            load_binding(Path(binding)), tmp_path / "work", seed, policies or {}, live
        )
        prepared = lockstep.prepare(load_suite(str(suite)), say=lambda _: None)
        return list(lockstep.run(prepared, lockstep.session(simulator), say=lambda _: None))

    return run
