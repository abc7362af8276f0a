"""A separator on a faster clock of its own, and its channel bits in the block's cycles."""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from refmodel.ground.errors import InputError
from refmodel.ground.separated import SeparatedBits
from refmodel.profile import load_profile
from refmodel.separator.clocks import crossed, edge_of
from refmodel.world.disk import Disk
from refmodel.world.scenario import Scenario
from refmodel.world.turning import Turning

HEAD = "name: own\nclock_hz: 7093790\nchannel_bit_ns: 2000\nseparator:\n"


def profile_of(folder, text):
    """Return the profile of a file with this separator."""
    path = folder / "own.yaml"
    path.write_text(HEAD + text)
    return load_profile(str(path))


def disk_of(profile, **flux):
    """Return a whole track of ISO sectors whose flux goes through the profile's separator."""
    scenario = Scenario.model_validate(
        {"name": "own", "track": {"layout": "iso"}, "separator": "rephase", "flux": flux}
    )
    return Disk.of(scenario, profile, Path(), 1)


@pytest.mark.parametrize("clock", ["28375160", "50000000", "7093790"])
def test_perfect_flux_gives_the_track(clock, tmp_path):
    """Whatever the separator's clock, what is on the track arrives bit by bit, one a block edge."""
    disk = disk_of(profile_of(tmp_path, f"  clock_hz: {clock}\n"))
    (stimulus,) = Turning(disk)
    assert (np.diff(stimulus.bit_cycle) > 0).all()
    text = "".join(map(str, stimulus.bit.tolist()))
    assert "".join(map(str, disk.track.bits[1000:99000].tolist())) in text


def test_bits_arrive_in_time_at_any_clock(tmp_path):
    """The bits of two clocks arrive in the same block cycle, give or take what each rounds by."""
    slow, fast = (
        next(Turning(disk_of(profile_of(tmp_path, f"  clock_hz: {hz}\n"))))
        for hz in (7_093_790, 50_000_000)
    )
    assert len(fast.bit) == pytest.approx(len(slow.bit), abs=1)
    cells = min(len(fast.bit), len(slow.bit))
    assert np.abs(fast.bit_cycle[:cells] - slow.bit_cycle[:cells]).max() <= 3


def test_a_faster_clock_reads_what_a_slow_one_cannot(tmp_path):
    """Pulses up to 450 ns off leave 50 ns of the phase-only margin: less than a 141 ns cycle."""
    wrong = {}
    for hz in (7_093_790, 50_000_000):
        disk = disk_of(profile_of(tmp_path, f"  clock_hz: {hz}\n"), uniform_ns=470)
        (stimulus,) = Turning(disk)
        track = "".join(map(str, disk.track.bits[2000:98000].tolist()))
        wrong[hz] = track not in "".join(map(str, stimulus.bit.tolist()))
    assert wrong == {7_093_790: True, 50_000_000: False}


def test_edges_are_counted_from_the_same_moment():
    """Edge 3 of a clock 2.5 times faster falls between the block's edges 1 and 2: it is 2's."""
    ratio = Fraction(5, 2)
    cycles = np.array([0, 1, 2, 3, 5, 6])
    zeros = np.zeros(6, np.int64)
    bits = SeparatedBits(cycles, zeros.astype(np.uint8), zeros, zeros + 40, 16)
    assert crossed(bits, ratio).cycle.tolist() == [0, 1, 2, 3, 4, 5]  # 0 1 1 2 2 3, one an edge
    assert [edge_of(n, ratio) for n in (0, 1, 2)] == [0, 3, 5]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "  clock_hz: 7000000\n",
            "own.yaml:5:3: separator.clock_hz: '7000000' Hz is below the block's 7093790 Hz; a"
            " separator runs at the block's clock or a faster one",
        ),
        ("  clock_hz: .inf\n", "separator.clock_hz: '.inf' is not a frequency in Hz, e.g. 1600"),
        ("  clock_hz: nan\n", "separator.clock_hz: 'nan' is not a frequency in Hz"),
        ("  clock_hz: -5\n", "separator.clock_hz: '-5' is not a frequency in Hz"),
        (
            "  clock_hz: 99999999999\n",
            "separator.clock_hz: '99999999999' should be at most 10000000000 Hz",
        ),
        ("  clock_hz: 0\n", "separator.clock_hz: '0' should be above 0 Hz"),
    ],
)
def test_a_clock_that_cannot_be_is_refused(text, message, tmp_path):
    """A separator slower than its block, or on a clock that is not a number, is an error."""
    with pytest.raises(InputError) as error:
        profile_of(tmp_path, text)
    assert message in str(error.value)
