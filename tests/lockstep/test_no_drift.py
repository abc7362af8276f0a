"""Over a hundred revolutions nothing drifts: the core's own edges against exact fractions."""

from fractions import Fraction
from math import floor
from pathlib import Path

import pytest

import hdl_stubs
from refmodel.world.scenario import Scenario
from testbenches.binding.load import load_binding
from testbenches.lockstep import Lockstep
from testbenches.recorder import Recorder

BINDING = Path(hdl_stubs.__file__).parent / "reference" / "binding.yaml"
REVOLUTIONS = 100
BEHIND = 38  # words behind the mark: the track has 16 * 39 + 1 channel bits, an odd number
SPEED = "1.7"


@pytest.fixture
def edges(tmp_path, simulator):
    """Return the cycles in which sync_equal rose and fell in a hundred revolutions of a core."""
    runs = [{"words": [0x4489]}, {"words": [0x9254], "repeat": BEHIND}, {"bits": "1"}]
    scenario = Scenario.model_validate(
        {
            "name": "turning",
            "track": {"layout": "runs", "runs": runs},
            "revolutions": REVOLUTIONS,
            "speed_percent": float(SPEED),
        }
    )
    lockstep = Lockstep(load_binding(BINDING), tmp_path, 1, {})
    ready = lockstep.prepare([(tmp_path / "turning.yaml", scenario)], lambda _: None)
    (outcome,) = lockstep.run(ready, lockstep.session(simulator), lambda _: None)
    assert "agree" == outcome.verdict
    recorder = Recorder(lockstep.binding, lockstep.profile.status, tmp_path / simulator, 0)
    lane = recorder.observed(0, ready[0].disk.cycles).lanes["sync_equal"]
    return lane.cycle[1:].tolist()  # behind the value it begins with


def test_the_core_sees_each_mark_in_its_exact_cycle(edges):
    """Bit n of all that passed ends in cycle 4 + floor((n + 1) * rate), and the next ends the mark.

    The rate is that of a 2 us channel bit at 7 093 790 Hz on a drive 1.7 % fast, computed here
    with Python's fractions and nothing of the project's own; 4 are the cycles of reset.
    """
    rate = Fraction(7_093_790) * Fraction(2, 1_000_000) / (1 + Fraction(SPEED) / 100)
    bits = 16 * (1 + BEHIND) + 1
    last = [turn * bits + 15 for turn in range(REVOLUTIONS)]  # of the mark, in each revolution
    assert edges == [4 + floor((n + 1) * rate) for bit in last for n in (bit, bit + 1)]
    assert rate * bits % 1  # no whole cycles: what rounds anew in each revolution drifts
