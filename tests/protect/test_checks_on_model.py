"""Every check that ships accepts its original and refuses its copy on the model itself."""

import pytest
from protect_cases import PAL, case_of, judged

from refmodel.profile import load_profile
from refmodel.protect.check import KINDS, find_checks

CHECKS = [check.name for check in find_checks([])]
CORNERS = [("slow", -1.5), ("fast", 1.5)]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", CHECKS)
def test_verdict_is_right_at_every_corner(name, kind):
    """Slow and fast hosts at slow and fast drives come to the verdict the check promises."""
    for host, drive in CORNERS:
        case = case_of(name, kind, host, drive)
        assert judged(case).verdict == case.wanted, case.name


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", ["weak_bits", "silent_gap"])
def test_random_flux_is_right_whatever_the_seed(name, kind):
    """What is drawn at random changes with the seed; the verdict does not."""
    for seed in range(2, 6):
        case = case_of(name, kind, seed=seed)
        assert judged(case).verdict == case.wanted, case.name


@pytest.mark.parametrize("name", ["long_cells", "sync_window", "index_to_sync"])
def test_checks_hold_with_another_clock(name):
    """The checks' bounds are times and ratios, so another colour carrier changes no verdict."""
    ntsc = load_profile("ntsc_dd")
    for kind in KINDS:
        case = case_of(name, kind)
        assert judged(case, ntsc).verdict == case.wanted


def test_classes_one_to_thirteen_are_there():
    """At least one check ships for each class."""
    assert {check.number for check in find_checks([])} >= set(range(1, 14))


def test_a_region_of_five_percent_is_told_from_a_drive_that_is_off():
    """At -1.5, 0 and +1.5 % drive speed the region is further from the bound than the drive errs.

    The margin of a 5 % region against 1.5 % of speed is common practice, no source; computed: both
    halves of the ratio turn with the drive, so it stays 1.05 but for one poll in 114 at each end.
    """
    for drive in (-1.5, 0.0, 1.5):
        for name, bound in (("long_cells", 0.03), ("short_cells", -0.03)):
            original, copied = (
                judged(case_of(name, kind, drive=drive)).measured[0].value for kind in KINDS
            )
            assert abs(original - 1) > abs(bound) > abs(copied - 1)
            assert original == pytest.approx(1 + bound / 0.03 * 0.05, abs=2 / 227)


def test_the_profile_of_the_checks_is_the_one_of_the_figures():
    """The figures of the documentation are those of 7.09379 MHz."""
    assert PAL.clock_hz == 7_093_790
