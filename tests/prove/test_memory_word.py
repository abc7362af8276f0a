"""What memory offers without a slot is wrong to the prover, as it is to the bench."""

import shutil

import pytest
from command import cellstep

pytestmark = pytest.mark.skipif(not shutil.which("yosys"), reason="needs yosys")


@pytest.mark.long
def test_a_word_that_is_taken_without_a_slot_is_refuted(core):
    """A core that writes what memory offers where zeros belong is refuted by a run that replays."""
    wrong = core().change(
        "write_serialiser.v",
        ("    input  wire [15:0] word,\n", "    input  wire [15:0] word, offered,\n"),
        ("ready ? word : 16'h0000", "ready ? word : ~offered"),
    )
    wrong.change("transfer_path.v", (".word(oldest),", ".word(oldest), .offered(mem_in),"))
    done = cellstep("prove", wrong.binding, "--seconds", 200, "--out", wrong.out)
    assert done.returncode == 1
    assert "write_data differs" in done.stdout
    assert "the same first mismatch" in done.stdout
