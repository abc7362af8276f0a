"""What is wrong in a check file is said with file, line, key and what would be right."""

import pytest
from protect_cases import check_file, check_of, judged

from refmodel.ground.errors import InputError, UserError
from refmodel.protect.cases import HOST_SPEEDS, Case, cases
from refmodel.protect.check import find_checks, load_check
from refmodel.protect.judge import judge

FAULTS = {
    "bounds crossed": (
        ("at_least: 1.02, at_most: 1.09", "at_least: 1.1, at_most: 1.09"),
        "11:11: verdict.0: poll_ratio: at_least 1.1 is above at_most 1.09",
    ),
    "no bound": (
        (", at_least: 1.02, at_most: 1.09", ""),
        "11:11: verdict.0: poll_ratio: give at_least, at_most or both",
    ),
    "rules contradict": (
        (
            "at_least: 1.02, at_most: 1.09}]",
            "at_most: 1.0}, {measure: poll_ratio, at_least: 1.1}]",
        ),
        "verdict: the rules for poll_ratio contradict each other: at least 1.1 and at most 1",
    ),
    "copy is the original": (
        ("copy: {density: []}", "copy: {density: [{first_bit: 240, bits: 192, percent: 5}]}"),
        "copy: nothing differs from the original",
    ),
    "region beyond the track": (
        ("first_bit: 240, bits: 192", "first_bit: 340, bits: 192"),
        "8:13: density.0: the region of channel bits 340 .. 531 lies beyond the track, whose last"
        " is 463",
    ),
    "negative cost": (
        ("cost: 20", "cost: -20"),
        "9:76: host.params.cost: '-20' cycles: a cost must be 1 or more",
    ),
    "unknown program": (
        ("measure_region", "mesure_region"),
        "host.program: no host program 'mesure_region'; did you mean 'measure_region'?",
    ),
    "unknown parameter": (
        ("between: 4", "betwen: 4"),
        "host.params.betwen: measure_region has no parameter 'betwen'; did you mean 'between'?",
    ),
    "busy bus": (
        ("host: {program", "host: {contention: {busy: 8, every: 8}, program"),
        "busy 8 of every 8 leaves the host no cycle",
    ),
    "unknown field": (("watches: [byte_ready]", "watches: [ready]"), "'ready' is not one of"),
    "unknown key of a scenario": (
        ("  density:", "  densities:"),
        "densities: unknown key 'densities'; did you mean 'density'?",
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_told_where_it_stands(fault, tmp_path):
    """Each fault of a check file names its place, its value, and what would be right."""
    change, message = FAULTS[fault]
    with pytest.raises(InputError) as error:
        load_check(check_file(tmp_path, change))
    assert str(error.value).startswith(f"{tmp_path / 'plain.yaml'}:")
    assert message in str(error.value)


def test_copy_keeps_what_it_does_not_change(tmp_path):
    """The copy is the original with the named keys replaced."""
    check = check_of(tmp_path)
    original, copied = check.scenarios["original"], check.scenarios["copy"]
    assert (len(original.density), len(copied.density)) == (1, 0)
    assert original.track == copied.track
    assert original.host == copied.host


@pytest.mark.parametrize(
    ("name", "hint"), [("long_cell", "did you mean 'long_cells'?"), ("99", "no such check")]
)
def test_unknown_checks_are_refused(name, hint):
    """A check that does not exist is refused with a near name."""
    with pytest.raises(UserError, match=r"--check .*: no such check") as error:
        find_checks([name])
    assert hint in str(error.value)


def test_a_class_number_names_all_its_checks():
    """The number of a class stands for every check of it."""
    assert [c.name for c in find_checks(["1"])] == ["long_cells", "short_cells"]


def test_unknown_host_speeds_are_refused():
    """A host speed that does not exist is refused with a near name."""
    with pytest.raises(UserError, match="--host-speed fsat: no such host; did you mean 'fast'"):
        cases(find_checks(["long_cells"]), [1], ["fsat"], [0.0])


def test_cases_vary_one_thing_at_a_time_unless_told_otherwise():
    """Hosts vary at nominal speed, drives with the normal host; all pairs on demand."""
    check = find_checks(["long_cells"])
    few = cases(check, [1], list(HOST_SPEEDS), (-1.5, 0.0, 1.5))
    many = cases(check, [1, 2], list(HOST_SPEEDS), (-1.5, 0.0, 1.5), every=True)
    assert (len(few), len(many)) == (2 * 5, 2 * 9 * 2)
    assert len({case.name for case in many}) == len(many)


def test_a_program_that_never_ends_is_refused_with_its_last_accesses(tmp_path):
    """The limit of accesses ends the program; the verdict is refuse and tells what it last did."""
    check = check_of(tmp_path, ("host: {program", "host: {limit: 9, program"))
    said = judged(Case(check, "original", 1, HOST_SPEEDS["normal"], 0.0))
    assert said.verdict == "refuse"
    assert said.note.startswith("the program did not end in 9 accesses; the last: cycle ")
    assert said.note.count("reads status: 0x") == 4


def test_a_measure_nobody_takes_is_an_error(tmp_path):
    """A rule for something the program does not return is bad input, not a verdict."""
    check = check_of(tmp_path, ("measure: poll_ratio", "measure: pol_ratio"))
    with pytest.raises(UserError, match="measures no 'pol_ratio'; did you mean 'poll_ratio'"):
        judged(Case(check, "original", 1, HOST_SPEEDS["normal"], 0.0))


def test_a_program_that_returns_no_measures_is_an_error(tmp_path):
    """A check needs a program that returns measures by name."""
    check = check_of(tmp_path)
    with pytest.raises(UserError, match=r"returned \[1, 2\]; a check's program returns measures"):
        judge(check.rules, [1, 2], None)
