"""The profiles that ship have the numbers of their clocks."""

from fractions import Fraction

import pytest

from refmodel.block.settings import Policies, ResetValues
from refmodel.profile import PROFILES, load_profile, profile_names

# Check values 6. Carrier of the 625-line system: (284 - 1/4) fh + fv/2 with fh = 15 625 Hz and
# fv = 50 Hz, read in "Timecode: A User's Guide", appendix 1; line and field rate from memory.
# Carrier of the 525-line system: 315/88 MHz, from memory; 455/2 fh was read.
CARRIER_625 = (284 - Fraction(1, 4)) * 15625 + Fraction(50, 2)
CARRIER_525 = Fraction(315_000_000, 88)


def test_names():
    """These ship, each under its own file's name."""
    assert profile_names() == ["ntsc_dd", "pal_dd", "round_hd"]
    assert [load_profile(name).name for name in profile_names()] == profile_names()


def test_clocks_come_from_the_carriers():
    """The clocks are 8/5 of one carrier and twice the other, exactly."""
    assert load_profile("pal_dd").clock_hz == CARRIER_625 * 8 / 5 == 7093790
    assert load_profile("ntsc_dd").clock_hz == CARRIER_525 * 2
    assert load_profile("round_hd").clock_hz == 16_000_000


@pytest.mark.parametrize(
    ("name", "cycle_ns", "bit", "byte", "revolution"),
    [  # check values 6, derived there; the round clock by hand
        ("pal_dd", "140.968368", "14.18758", "113.50064", "1418758"),
        ("ntsc_dd", "139.682540", "14.318182", "114.545455", "1431818.1818"),
        ("round_hd", "62.5", "16", "128", "3200000"),
    ],
)
def test_cycle_numbers(name, cycle_ns, bit, byte, revolution):
    """A cycle, a channel bit, eight of them and 200 ms have the lengths derived outside."""
    profile = load_profile(name)
    actual = (
        profile.cycle_ns,
        profile.cycles_per_bit,
        8 * profile.cycles_per_bit,
        profile.clock_hz / 5,
    )
    for value, expected in zip(actual, (cycle_ns, bit, byte, revolution), strict=True):
        places = len(expected.partition(".")[2])
        assert f"{float(value):.{places}f}" == expected


def test_exact_revolution():
    """A revolution of 200 ms is 1 418 758 cycles and 100 000 channel bits without a remainder."""
    profile = load_profile("pal_dd")
    assert profile.clock_hz / 5 == 1_418_758
    assert 100_000 * profile.cycles_per_bit == 1_418_758


@pytest.mark.parametrize("name", ["ntsc_dd", "pal_dd", "round_hd"])
def test_rest_is_the_default(name):
    """The shipped profiles differ in their clocks alone, and each says what it is about."""
    profile = load_profile(name)
    rest = (profile.layout, profile.reset, profile.policies)
    assert rest == ({}, ResetValues(), Policies())
    assert profile.about


def test_profile_can_be_a_path(tmp_path):
    """A profile of the user's own is loaded by path, from the folder of the file that names it."""
    text = (PROFILES / "pal_dd.yaml").read_text(encoding="utf-8")
    (tmp_path / "mine.yaml").write_text(text.replace("name: pal_dd", "name: mine"))
    expected = load_profile("pal_dd").model_copy(update={"name": "mine"})
    assert load_profile("mine.yaml", tmp_path) == expected
    assert load_profile(str(tmp_path / "mine.yaml")) == expected
