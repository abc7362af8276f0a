"""Mistakes of half-finished cores make a check refuse an original, and the report names the bit."""

import pytest

from hdl_stubs.defects import load_defects
from refmodel.protect.check import ORIGINAL
from refmodel.report.protect_text import wrong_details

DEFECTS = {defect.name: defect for defect in load_defects()}
FLIPS = [  # defect, a check it flips, the bit the report must name
    ("ready_never_clears", "long_cells", "byte_ready"),
    ("sync_latched_until_read", "second_read", "sync_equal"),
    ("dma_tied_low", "transfer_flags", "dma_active"),
    ("data_moves_bit_by_bit", "odd_syncs", "data"),
    ("bytes_at_a_fixed_rate", "timed_cells", "byte_ready"),
    ("never_realigns", "odd_syncs", "byte_ready"),
]


@pytest.mark.parametrize(("name", "check", "field"), FLIPS, ids=[flip[0] for flip in FLIPS])
def test_defect_flips_a_check(name, check, field, matrix_of):
    """The core refuses the original; the first wrong bit, its clause and the access are told."""
    defect = DEFECTS[name]
    matrix = matrix_of([(defect.file, defect.replace, defect.replacement)], [check], [ORIGINAL])
    (wrong,) = matrix.wrong
    assert wrong.side == "icarus"
    assert wrong.judgement.verdict == "refuse"
    assert (wrong.blame.field, wrong.blame.clause) == (field, defect.clause)
    assert wrong.blame.wrong_cycles > 0
    told = dict(wrong_details(wrong))
    assert told["bit"].startswith(f"{field} is ")
    assert told["access"].startswith("cycle ")
    assert matrix.exit_status == 1
    if name == "ready_never_clears":  # a 32-cycle loop lets 31 cycles pass (computed)
        beyond = wrong.blame.wrong_cycles - 31
        assert told["allowed"].endswith(f"up to 31 cycles; here exceeded by {beyond} cycles")


def test_a_writer_with_longer_bits_flips_the_write_and_read_back(matrix_of):
    """A core that writes bits of 15 cycles is refused: it reads back 15 cycles a bit, not 14."""
    change = ("disk_regs.v", "WRITE_BIT_CYCLES = 14", "WRITE_BIT_CYCLES = 15")
    matrix = matrix_of([change], ["written_back"], [ORIGINAL], "binding_block.yaml")
    (wrong,) = matrix.wrong
    assert wrong.judgement.measured[0].value == pytest.approx(15, abs=0.05)
    assert wrong.blame.clause == "B11"


def test_a_core_without_what_a_check_needs_is_not_judged(matrix_of):
    """Without registers and lines of its own a core is not run, and the report says why."""
    matrix = matrix_of([], ["written_back", "own_transfer"], [ORIGINAL])
    skipped = [c.note for c in matrix.cells if c.skipped]
    assert skipped[0] == (
        "the core has no line write_data, line write_gate, memory, register transfer"
    )
    assert skipped[1] == "the core has no memory, register control, register transfer"
    assert matrix.wrong == []
    assert matrix.exit_status == 0
