"""How far a bit may be off before a check flips, found on the model and planted in a core."""

import pytest
from protect_cases import PAL, case_of

from refmodel.protect.check import KINDS, ORIGINAL, find_checks
from refmodel.protect.matrix import Tolerance
from refmodel.protect.model import disk_of, run_model
from refmodel.protect.perturb import EARLY, LATE, LONG, disk_arrivals, run_perturbed
from refmodel.protect.sensitivity import MOST, Sensitivity, search, table

SYNC = "wire sync_shown  = SYNC_VIEW == REGISTERED ? sync_equal_before : sync_equal;"
SYNC_LONG = """\
    reg  [7:0] tail;
    wire sync_shown = sync_equal || tail != 0;
    always @(posedge clk)
        tail <= rst ? 8'd0 : sync_equal ? 8'd{0} : tail != 0 ? tail - 8'd1 : tail;"""
DATA = "assign status[DATA_MSB:DATA_LSB] = data;"
DATA_LATE = """\
    reg [8*{0}-1:0] line;
    always @(posedge clk) line <= rst ? 0 : {{line, data}};
    assign status[DATA_MSB:DATA_LSB] = line[8*{0}-1 -: 8];"""


@pytest.mark.parametrize("limit", [1, 2, 3, 31, 64, 100, MOST])
def test_search_finds_the_first_harmful_offset(limit):
    """Doubling and halving lead to the cycle from which on the verdict flips."""
    found = search(lambda cycles: ORIGINAL if cycles >= limit else "")
    assert found == (limit - 1, limit, ORIGINAL)


def test_search_ends_where_nothing_flips():
    """Without a flip up to the most that is tried there is no harmful offset."""
    assert search(lambda _: "") == (MOST, None, "")


@pytest.mark.parametrize("kind", [EARLY, LATE, LONG])
@pytest.mark.parametrize("name", ["odd_syncs", "second_read", "own_transfer"])
def test_no_offset_changes_nothing(name, kind):
    """A bit that is 0 cycles off gives what the model itself gives."""
    for disk_kind in KINDS:
        case = case_of(name, disk_kind)
        disk = disk_of(case.scenario(), PAL, case.check.path.parent)
        field = case.check.watches[0]
        off = run_perturbed(disk, disk_arrivals(disk), field, kind, 0)
        assert off == run_model(disk)


def test_a_flag_too_long_is_counted_twice_from_one_poll_on():
    """byte_ready up longer than the 32-cycle loop is seen again: 31 pass, 32 do not (computed)."""
    (check,) = find_checks(["long_cells"])
    found = Sensitivity(PAL).tolerance(check, "byte_ready", LONG)
    assert found == Tolerance("long_cells", "byte_ready", LONG, 31, 32, ORIGINAL)


def test_a_constant_delay_is_harmless_to_a_measured_ratio():
    """A ratio of times does not see a flag that is always as late."""
    (check,) = find_checks(["timed_cells"])
    found = Sensitivity(PAL).tolerance(check, "byte_ready", LATE)
    assert (found.harmless, found.harmful) == (MOST, None)


@pytest.mark.rest
def test_the_table_has_each_bit_in_each_way():
    """A row for early and late, and for up too long where the bit is a level."""
    rows = table(find_checks(["second_read"]), PAL)
    assert [(r.field, r.kind) for r in rows] == [("sync_equal", k) for k in (EARLY, LATE, LONG)]


@pytest.mark.long
def test_the_predicted_offsets_are_those_of_a_core(matrix_of, tmp_path):
    """A core whose bits are off by the most that is harmless passes; one cycle more, and it fails.

    Two bits, each told by a check that does not look at the other one's error.
    """
    names = ["second_read", "odd_syncs"]
    checks = find_checks(names)
    found = [
        Sensitivity(PAL).tolerance(check, field, kind)
        for check, field, kind in zip(checks, ("sync_equal", "data"), (LONG, LATE), strict=True)
    ]

    def core(sync, data):
        patches = [(SYNC, SYNC_LONG.format(sync)), (DATA, DATA_LATE.format(data))]
        return [("disk_regs.v", *patch) for patch in patches]

    assert matrix_of(core(*(f.harmless for f in found)), names).wrong == []
    (tmp_path / "core").rename(tmp_path / "harmless")
    harmful = matrix_of(core(*(f.harmful for f in found)), names)
    assert [(c.case.check.name, c.case.kind) for c in harmful.wrong] == [
        (n, ORIGINAL) for n in names
    ]
    assert {c.blame.field for c in harmful.wrong} <= {"sync_equal", "data"}
