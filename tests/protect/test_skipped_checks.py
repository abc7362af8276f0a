"""A check that a profile does not allow is left out with the reason, and the others run."""

import shutil

from command import cellstep
from replaced import replace_in

from hdl_stubs.defects import REFERENCE
from refmodel.ground.duration import cycles_of, is_duration
from refmodel.profile import load_profile

SLOW = "{name: slow, clock_hz: 8000000, channel_bit_ns: 800, write_bit_cycles: 9}\n"
PLAIN_CORE = REFERENCE.parent / "plain" / "registered" / "binding.yaml"
CHECKS = ("odd_syncs", "weak_bits")
PLAIN = ["--sim", "icarus", "--host-speed", "normal", "--drive-speed", "0"]


def test_what_the_profile_lacks_is_told(tmp_path):
    """At 6.4 cycles a channel bit no check that polls applies."""
    core = tmp_path / "core"
    shutil.copytree(REFERENCE, core)
    (core / "slow.yaml").write_text(SLOW)
    replace_in(core / "binding.yaml", ("profile: pal_dd", "profile: slow.yaml"))
    done = cellstep("protect", core / "binding.yaml", *PLAIN, "--check", "1", "--check", "3")
    assert "not run: long_cells: it needs 7 cycles in a channel bit" in done.stdout
    assert "profile slow has 6.4" in done.stdout


def test_a_policy_a_check_cannot_hold_with_leaves_it_out():
    """Without realignment the model refuses odd sync words itself; the other check is judged."""
    policy = ["--policy", "realign=never", "--check", "odd_syncs", "--check", "sync_window"]
    done = cellstep("protect", REFERENCE / "binding.yaml", *PLAIN, *policy)
    assert (
        "not run: odd_syncs: it does not hold with profile pal_dd and its policies" in done.stdout
    )
    rows = [line.split() for line in done.stdout.splitlines() if "sync_window" in line]
    assert rows[0][1:4] == ["sync_window", "original", "accept"]


def test_a_check_left_out_has_one_line():
    """What the core lacks comes before what the model would say, and is said once for all hosts."""
    policy = ["--policy", "realign=never", "--check", "odd_syncs", "--check", "weak_bits"]
    done = cellstep("protect", PLAIN_CORE, "--sim", "icarus", *policy)
    notes = [line for line in done.stdout.splitlines() if line.startswith("not run: ")]
    assert 2 == done.returncode
    assert [f"not run: {name}: the core has no input wait_for_sync" for name in CHECKS] == notes


def test_a_time_is_the_nearest_number_of_cycles():
    """2.25 channel bits are 31.92 cycles at 7.09379 MHz and 2 us, 36 at 16 MHz and 1 us."""
    for name, cycles in (("pal_dd", 32), ("round_hd", 36)):
        profile = load_profile(name)
        clock = (profile.clock_hz, profile.cycles_per_bit)
        assert cycles_of("2.25 bits", *clock) == cycles
    pal = load_profile("pal_dd")
    assert cycles_of("300 us", pal.clock_hz, pal.cycles_per_bit) == 2128  # 300 x 7.09379
    assert cycles_of("0.01 bits", pal.clock_hz, pal.cycles_per_bit) == 1
    assert not any(map(is_duration, (32, "32", "-1 bits", "1 bit", "x us", "1e3 us", None)))
