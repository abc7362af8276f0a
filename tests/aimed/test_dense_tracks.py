"""A dense track brings its bits a few cycles apart, and resets come as often as is said."""

from pathlib import Path

import numpy as np
import pytest

from refmodel.ground.errors import UserError
from refmodel.profile import load_profile
from refmodel.world.disk import Disk
from refmodel.world.load import load_scenario
from refmodel.world.turning import Turning

PAL = load_profile("pal_dd")
TRACK = "{layout: dense, bits: 5000, gaps: [2, 4], marks: 100}"


@pytest.fixture
def disk_of(tmp_path):
    """Return a function that returns the disk of a scenario with a track and other keys."""

    def make(track=TRACK, seed=1, **keys):
        path = tmp_path / "s.yaml"
        more = "".join(f"{key}: {value}\n" for key, value in keys.items())
        path.write_text(f"name: s\ntrack: {track}\n{more}")
        return Disk.of(load_scenario(path), PAL, Path(), seed)

    return make


def test_gaps_are_all_there_and_no_other(disk_of):
    """Bits are as far apart as `gaps` allows, each gap about as often as another."""
    (span,) = Turning(disk_of())
    gaps, counts = np.unique(np.diff(span.bit_cycle), return_counts=True)
    assert [2, 3, 4] == gaps.tolist()
    assert counts.min() > 1500
    text = "".join(map(str, span.bit.tolist()))
    assert text.count(f"{0x4489:016b}") >= 100


def test_a_seed_gives_the_same_track(disk_of):
    """The same seed brings the same bits in the same cycles, another seed others."""
    (one,), (again,), (other,) = (Turning(disk_of(seed=n)) for n in (3, 3, 4))
    assert np.array_equal(one.bit_cycle, again.bit_cycle)
    assert np.array_equal(one.bit, again.bit)
    assert not np.array_equal(one.bit_cycle, other.bit_cycle)


def test_every_revolution_has_its_own_bits(disk_of):
    """A track is there once in each revolution, its bits at the same places, none left out."""
    track = "{layout: timed, bits: '1011', at: [0, 1, 5, 9], cycles: 10}"
    disk = disk_of(track, revolutions=3)
    spans = list(Turning(disk))
    assert all(s.first <= s.bit_cycle[0] and s.bit_cycle[-1] < s.end for s in spans)
    places = [(s.bit_cycle - disk.start).tolist() for s in spans]
    assert [[n * 10 + at for at in (0, 1, 5, 9)] for n in range(3)] == places


def test_resets_repeat(disk_of):
    """With `every` and `times` resets follow each other at that distance."""
    disk = disk_of(resets="[{at: 100, cycles: 2, every: 50, times: 3}, {at: 120}]")
    assert [(100, 102), (120, 124), (150, 152), (200, 202)] == disk.resets[1:]


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ({"track": "{layout: dense, bits: 99, gaps: [4, 2]}"}, "gaps: 4 is more than 2"),
        ({"track": "{layout: dense, bits: 99, gaps: [0, 2]}"}, "gaps"),
        ({"track": "{layout: dense, bits: 99, gaps: [1, 2], marks: 9}"}, "marks"),
        ({"speed_percent": "1"}, "speed_percent: the track is timed by itself"),
        ({"resets": "[{at: 100, times: 2}]"}, "times 2: give every"),
    ],
)
def test_what_cannot_be_is_told(disk_of, keys, told):
    """A track or a reset that cannot be is refused in words."""
    with pytest.raises(UserError, match=told):
        disk_of(**keys)
