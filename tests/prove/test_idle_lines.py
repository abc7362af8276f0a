"""A core that looks at lines without a strobe is refuted, and any simulator shows it."""

import shutil

import numpy as np
import pytest
from replaced import replace_in

from hdl_stubs.defects import REFERENCE
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import load_profile
from refmodel.prove.verdict import REFUTED
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.harness import generate
from testbenches.player import Player
from testbenches.prove.attempt import Effort
from testbenches.prove.prover import prove_binding
from testbenches.prove.replay import replayed

IDLE = [(6, 0x4, 0x1234, 0), (8, 0xE, 0x5678, 1)]


def test_idle_lines_are_as_given_from_their_cycle_on():
    """Before the first row they are random; an access has its own address, then they go on."""
    binding = load_binding(REFERENCE / "binding.yaml")
    harness = generate(binding, preflight(binding))
    player = Player(harness, load_profile("pal_dd").slots, idle=IDLE)
    stimulus = Stimulus(0, 12, np.array([9]), np.array([0], np.uint8))
    edges, words = player.events(stimulus, Stimulus(0, 0))

    def lines(cycle):
        (word,) = words[edges == cycle].tolist()
        slots = [harness.drive.slots[name] for name in ("address", "write_data", "bit")]
        return [word >> lsb & (1 << width) - 1 for lsb, width in slots]

    assert [lines(n) for n in (6, 7)] == [[0x4, 0x1234, 0]] * 2
    assert [lines(n) for n in (8, 10, 11)] == [[0xE, 0x5678, 1]] * 3
    assert lines(9) == [0xE, 0x5678, 0]  # a channel bit is its own


LOOKING = {
    "read without strobe": ("rd && adr == ADR_STATUS", "adr == ADR_STATUS"),
    "write without strobe": ("wr && adr == ADR_SYNC_WORD", "adr == ADR_SYNC_WORD"),
    "write at reads": ("wr && adr == ADR_SYNC_WORD", "(rd || wr) && adr == ADR_SYNC_WORD"),
}


@pytest.mark.long
@pytest.mark.skipif(not shutil.which("yosys"), reason="needs yosys")
@pytest.mark.parametrize("fault", LOOKING)
def test_a_core_that_looks_without_a_strobe_is_refuted_and_replayed(tmp_path, fault):
    """The scenario says what the idle lines carry, so each simulator shows the same mismatch."""
    shutil.copytree(REFERENCE, tmp_path / "core")
    replace_in(tmp_path / "core/disk_regs.v", LOOKING[fault])
    path = tmp_path / "core/binding.yaml"
    proof = prove_binding(path, {}, Effort(seconds=60))
    assert proof.verdict.verdict == REFUTED
    _, differs = replayed(proof, path, {}, None)
    assert differs == ""
