"""A captured disk with weak bits read by a core: what the track says of each, the core reads."""

import json
from itertools import pairwise

import numpy as np
import pytest
from command import cellstep
from flux_cases import captured, plain_track, write_text

from hdl_stubs.defects import REFERENCE
from refmodel.engine.core_separator import delivered, together
from refmodel.media.flux_defects import Defects, Weak
from refmodel.media.overlay import lay_over
from refmodel.world.load import load_scenario
from testbenches.binding.load import load_binding
from testbenches.lockstep import Lockstep
from testbenches.recorder import Recorder

pytestmark = [pytest.mark.long, pytest.mark.both]
CORE = REFERENCE.parent / "flux" / "second_order.yaml"
PULSE_LATENCY = 2  # of the core, as its binding says
TURNS = 4
WEAK = Weak(first_bit=40_000, bits=2, times=40, every=32)
SCENARIO = f"""\
name: captured
track: {{layout: capture, file: flux.txt}}
revolutions: {TURNS}
"""


def core_bits(folder, path, simulator):
    """Return the channel bits that the core's own separator delivered, and the run's disk."""
    binding = load_binding(CORE)
    lockstep = Lockstep(binding, folder, 1, {})
    prepared = lockstep.prepare([(path, load_scenario(path))], say=lambda _: None)
    (outcome,) = lockstep.run(prepared, lockstep.session(simulator), say=lambda _: None)
    assert outcome.verdict == "agree"
    assert outcome.fields["channel_bit"].changes > TURNS * 100_000
    disk = prepared[0].disk
    recorder = Recorder(binding, lockstep.profile.status, folder / simulator, 0)
    lane, _ = together(recorder.observed(0, disk.cycles))
    return *delivered(lane, disk.cycles), disk


def test_weak_bits_of_a_run_are_those_the_track_counts(simulator, tmp_path):
    """In each revolution the core reads the weak bits as `cellstep track` has counted them."""
    flux = captured(plain_track(), Defects(jitter_ns=60, weak=[WEAK]), TURNS)
    write_text(tmp_path / "flux.txt", flux)
    path = tmp_path / "captured.yaml"
    path.write_text(SCENARIO)
    done = cellstep("track", tmp_path / "flux.txt", "--json")
    assert done.returncode == 0, done.stderr
    weak = json.loads(done.stdout)["weak_bits"]
    counted = {bit["bit"]: (bit["ones"], bit["of"]) for bit in weak}
    cycle, bit, disk = core_bits(tmp_path / "work", path, simulator)
    begins = [disk.pace.begin(turn, disk.start) for turn in range(TURNS + 1)]
    late = float(disk.profile.cycles_per_bit) / 2 + PULSE_LATENCY  # behind a window's middle
    edges = [int(np.searchsorted(cycle - late, begin)) for begin in begins]
    read = [bit[first:end] for first, end in pairwise(edges)]
    over = lay_over(read)
    again = {int(at): (int(over.ones[at]), int(over.seen[at])) for at in np.flatnonzero(over.weak)}
    assert again == counted
    assert len(counted) > 50
    assert {1, 2, 3} <= {ones for ones, _ in counted.values()}
    assert all(40_000 <= at < 41_260 for at in counted)
    assert len({bits[40_000:41_260].tobytes() for bits in read}) == TURNS
