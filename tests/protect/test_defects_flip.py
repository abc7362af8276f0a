"""Mistakes of half-finished cores make a check refuse an original, and the report names the bit."""

import pytest

from hdl_stubs.defects import load_defects
from refmodel.protect.check import ORIGINAL
from refmodel.protect.text import wrong_details
from testbenches.suite import Options, run_bindings

DEFECTS = {defect.name: defect for defect in load_defects()}
FLIPS = [  # defect, a check it flips, the bit the report must name
    ("ready_never_clears", "long_cells", "byte_ready"),
    ("sync_latched_until_read", "second_read", "sync_equal"),
    ("dma_tied_low", "transfer_flags", "dma_active"),
    ("data_moves_bit_by_bit", "odd_syncs", "data"),
    ("bytes_at_a_fixed_rate", "timed_cells", "byte_ready"),
    ("never_realigns", "odd_syncs", "byte_ready"),
    ("sync_lasts_a_cycle", "sector_pitch", "sync_equal"),
    ("never_realigns", "inner_sector", "byte_ready"),
    ("data_moves_bit_by_bit", "odd_ids", "data"),
    ("bytes_at_a_fixed_rate", "short_track", "byte_ready"),
    ("data_moves_bit_by_bit", "graded_shift", "data"),
    ("bytes_at_a_fixed_rate", "density_zones", "byte_ready"),
    ("bytes_at_a_fixed_rate", "density_ramp", "byte_ready"),
    ("zero_runs_filled_in", "unformatted_track", "data"),
    ("second_match_ignored", "sync_run", "sync_equal"),
    ("byte_starts_at_a_zero", "group_coded", "byte_ready"),
    ("never_realigns", "outer_track", "byte_ready"),
    ("sync_lasts_a_cycle", "side_angle", "sync_equal"),
]
FEW = 8  # of them in `make test`, the rest in `make long`


@pytest.mark.share(8)
@pytest.mark.parametrize(
    ("name", "check", "field"),
    [
        pytest.param(*flip, id="-".join(flip[:2]), marks=[pytest.mark.long] if n >= FEW else [])
        for n, flip in enumerate(FLIPS)
    ],
)
def test_defect_flips_a_check(name, check, field, matrix_of):
    """The core refuses the original; the first wrong bit, its clause and the access are told."""
    defect = DEFECTS[name]
    change = (defect.file, defect.replace, defect.replacement)
    matrix = matrix_of([change], [check], [ORIGINAL])
    (wrong,) = matrix.wrong
    assert wrong.runner == "icarus"
    assert wrong.judgement.verdict == "refuse"
    assert (wrong.blame.field, wrong.blame.clause) == (field, defect.clause)
    assert wrong.blame.wrong_cycles > 0
    told = dict(wrong_details(wrong))
    assert told["field"].startswith(f"{field} is ")
    assert told["first read"].startswith(("cycle ", "none in this revolution"))
    assert matrix.exit_status == 1
    if name == "ready_never_clears":  # a 32-cycle loop lets 31 cycles pass (computed)
        beyond = wrong.blame.wrong_cycles - 31
        assert told["tolerance"].endswith(f"up to 31 cycles; here exceeded by {beyond} cycles")


def test_a_core_that_always_realigns_takes_a_copy_for_the_original(matrix_of):
    """Where every mark restarts the bytes, no splice shows: the track written in parts passes."""
    defect = DEFECTS["always_realigns"]
    change = (defect.file, defect.replace, defect.replacement)
    matrix = matrix_of([change], ["one_splice"])
    (wrong,) = matrix.wrong
    assert (wrong.case.kind, wrong.judgement.verdict) == ("copy", "accept")
    assert (wrong.blame.field, wrong.blame.clause) == ("byte_ready", "B4")


@pytest.mark.long
def test_a_lost_byte_is_framings_fault_wherever_it_shows(matrix_of, tmp_path):
    """`protect` and `run` blame B4 for a byte lost on a match, whether an unread byte waits or not.

    With one waiting, data alone shows it. A core that never overwrites would show the same there,
    but this one has overwritten unread bytes before.
    """
    lost = DEFECTS["realign_drops_the_byte"]
    checks = ["odd_sectors", "silent_gap"]
    matrix = matrix_of([(lost.file, lost.replace, lost.replacement)], checks, [ORIGINAL])
    blames = [cell.blame for cell in matrix.cells if cell.blame]
    assert [("byte_ready", "B4"), ("data", "B4")] == [(b.field, b.clause) for b in blames]
    options = Options(simulators=["icarus"])
    (suite,) = run_bindings([tmp_path / "core/binding.yaml"], "status/sync_words", options)
    finding = suite.outcomes[0].finding
    assert (finding.mismatch.field, finding.cause.clause) == ("data", "B4")


def test_an_unread_byte_that_is_kept_is_the_flags_fault(matrix_of):
    """A core that keeps an unread byte does so on the first one, and B5 is blamed."""
    kept = DEFECTS["unread_byte_kept"]
    matrix = matrix_of([(kept.file, kept.replace, kept.replacement)], ["silent_gap"], [ORIGINAL])
    assert [("data", "B5")] == [(c.blame.field, c.blame.clause) for c in matrix.cells if c.blame]


def test_a_flag_taken_down_by_a_byte_is_the_flags_fault(matrix_of):
    """A lost byte leaves a flag that is up where it is, so one that falls is B5's."""
    toggles = DEFECTS["ready_toggles"]
    change = (toggles.file, toggles.replace, toggles.replacement)
    matrix = matrix_of([change], ["odd_syncs"], [ORIGINAL])
    assert [("byte_ready", "B5")] == [
        (c.blame.field, c.blame.clause) for c in matrix.cells if c.blame
    ]


@pytest.mark.long
def test_a_writer_with_longer_bits_flips_the_write_and_read_back(matrix_of):
    """A core that writes bits of 15 cycles is refused: it reads back 15 cycles a bit, not 14."""
    change = ("disk_regs.v", "WRITE_BIT_CYCLES = 14", "WRITE_BIT_CYCLES = 15")
    matrix = matrix_of([change], ["written_back"], [ORIGINAL])
    (wrong,) = matrix.wrong
    assert wrong.judgement.measured[0].value == pytest.approx(15 / 14, abs=0.004)
    assert wrong.blame.clause == "B11"


def test_a_core_without_what_a_check_needs_is_not_judged(matrix_of):
    """Without registers and lines of its own a core is not run, and the report says why."""
    matrix = matrix_of([], ["written_back", "own_transfer"], [ORIGINAL], alone=True)
    skipped = [c.note for c in matrix.cells if c.skipped]
    assert skipped[0] == (
        "the core has no line write_data, line write_gate, memory, register transfer"
    )
    assert skipped[1] == "the core has no memory, register control, register transfer"
    assert matrix.wrong == []
    assert matrix.exit_status == 2  # the model's own cells say nothing about the core
