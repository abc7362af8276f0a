"""A captured disk is read on whole when a pulse comes with an index pulse, or just beside it."""

from itertools import pairwise
from pathlib import Path

import pytest

from refmodel.profile import load_profile
from refmodel.world.disk import Disk
from refmodel.world.load import load_scenario
from refmodel.world.passage import FluxThroughModel

RATE = 24_000_000
TURN = 4_800_000  # samples: 200 ms
APART = 96  # 4 us
SCENARIO = """\
name: captured
track: {layout: capture, file: flux.txt}
revolutions: 3
"""


@pytest.mark.share(3)
@pytest.mark.parametrize("beside", [-4, -3, -2, -1, 0, 1, 2, 3, 4])
def test_a_pulse_at_the_index_is_read_once(tmp_path: Path, beside: int) -> None:
    """A pulse some samples before, with or after each index is on the line, in its order."""
    index = [1000 + turn * TURN for turn in range(4)]
    pulses = range((1000 + beside) % APART, index[-1] + 1000, APART)
    lines = [f"rate {RATE}", "index " + " ".join(map(str, index)), "times", *map(str, pulses)]
    (tmp_path / "flux.txt").write_text("\n".join(lines) + "\n")
    path = tmp_path / "captured.yaml"
    path.write_text(SCENARIO)
    profile = load_profile("pal_dd")
    disk = Disk.of(load_scenario(path), profile, tmp_path, 1)
    model = FluxThroughModel(disk, profile.separator.use)
    read = [model.turn(turn).pulses for turn in range(3)]
    cycles = [cycle for pulses in read for cycle in pulses.cycle.tolist()]
    whole = sum(index[0] <= pulse < index[-1] for pulse in pulses)
    assert whole - 1 <= len(cycles) <= whole
    exact = APART / RATE * float(profile.clock_hz)
    gaps = [after - before for before, after in pairwise(cycles)]
    assert all(abs(gap - exact) < 3 for gap in gaps)
