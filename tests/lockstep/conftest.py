"""Shared by the lockstep tests: a quick way to run a core on each simulator."""

import functools

import pytest

from refmodel.world.find import find_suite
from testbenches.binding.load import load_binding
from testbenches.lockstep import Lockstep

REVOLUTIONS = 2  # a scenario's third is as its second


def quiet(message):
    """Say nothing."""


def at_most(revolutions, scenarios):
    """Return scenarios that end after some revolutions."""
    for path, scenario in scenarios:
        turns = min(revolutions, scenario.revolutions)
        yield path, scenario.model_copy(update={"revolutions": turns})


@pytest.fixture(scope="session")
def prepared(tmp_path_factory):
    """Return a function that makes a suite ready for a core, once for both simulators."""

    @functools.cache
    def make(binding, suite, live=False, revolutions=REVOLUTIONS, policies=()):
        work = tmp_path_factory.mktemp("work")
        lockstep = Lockstep(load_binding(binding), work, 1, dict(policies), live)
        scenarios = list(at_most(revolutions, find_suite(suite)))
        return lockstep, lockstep.prepare(scenarios, quiet), work

    return make


@pytest.fixture(scope="session")
def played(prepared):
    """Return a function that runs a core through a suite, once a simulator."""

    @functools.cache
    def run(simulator, *core):
        lockstep, ready, _ = prepared(*core)
        return list(lockstep.run(ready, lockstep.session(simulator), quiet))

    return run


@pytest.fixture
def outcomes(played, simulator):
    """Return a function that runs a binding through a suite and returns the outcomes."""

    def run(binding, suite="quick", live=False, revolutions=REVOLUTIONS, **policies):
        return played(simulator, binding, suite, live, revolutions, tuple(policies.items()))

    return run
