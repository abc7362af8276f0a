"""A list of accesses is laid out without stepping the model, and just as if it were stepped."""

import numpy as np
import pytest

from hdl_stubs.defects import HERE
from refmodel.hunt.draw import Drawer
from refmodel.world.scenario import Scenario
from refmodel.world.world import World
from testbenches.binding.load import load_binding
from testbenches.hunt.case_player import reach_of
from testbenches.lockstep import Lockstep
from testbenches.suite import quiet

CORES = ["reference/binding", "bytewide/binding", "plain/registered/binding"]


@pytest.mark.parametrize("core", CORES)
def test_same_accesses_as_in_the_model(core, tmp_path):
    """For drawn cases every bus cycle is the one the program makes when it meets the model."""
    binding = load_binding(HERE / f"{core}.yaml")
    lockstep = Lockstep(binding, tmp_path, 1, {})
    lockstep.with_strays = False
    reach = reach_of(binding)
    cases = [Drawer(reach, seed).case(60) for seed in range(6)]
    scenarios = [
        (tmp_path / f"{n}.yaml", Scenario.model_validate(c.scenario("case", lasts=reach.lasts)))
        for n, c in enumerate(cases)
    ]
    for case, ready in zip(cases, lockstep.prepare(scenarios, quiet), strict=True):
        processor = ready.disk.processor(binding.bus_shape, list(binding.registers))
        ((wanted, _),) = World(ready.disk, processor, lockstep.depth).spans()
        (made,) = ready.accesses
        for name in ("access_cycle", "access_kind", "access_mask", "access_value"):
            assert np.array_equal(getattr(wanted, name), getattr(made, name))
        begun = {event.at for event in case.of("read", "write")}
        assert begun <= set(made.access_cycle.tolist())
