"""Which examples of SPEC.md a bound core can be made to meet."""

from __future__ import annotations

from refmodel.examples.scenario import Target
from refmodel.profile import Profile
from testbenches.binding.depth import depth_of
from testbenches.binding.schema import Binding


def target_of(binding: Binding, profile: Profile) -> Target:
    """Return what the examples are played into: a core, held to a profile."""
    bus = binding.bus
    return Target(
        profile,
        frozenset(binding.registers),
        frozenset(binding.level_inputs),
        memory=binding.memory is not None,
        reset=bool(binding.reset.port),
        bits=binding.pulse_cycles is None,
        placed=bus is None or bus.acknowledge is None,
        start=binding.reset.cycles,
        shape=binding.bus_shape,
        depth=depth_of(binding),
    )
