"""The disk under the head: density, speed, index, steps, levels and the way through flux."""

from fractions import Fraction
from itertools import accumulate

import numpy as np
import pytest

from refmodel.ground.errors import UserError
from refmodel.profile import load_profile
from refmodel.world.disk import Disk
from refmodel.world.scenario import Scenario
from refmodel.world.turning import Turning

PAL = load_profile("pal_dd")
NTSC = load_profile("ntsc_dd")


def disk(profile=PAL, seed=1, **parts):
    """Return the disk of a scenario of 40 words, or of the parts given."""
    track = {"layout": "words", "words": [0x9254], "repeat": 40}
    scenario = Scenario.model_validate({"name": "d", "track": track, **parts})
    tracks = tuple(t.build(seed, None) for t in scenario.tracks)
    return Disk(scenario, scenario.track.build(seed, None), profile, seed=seed, tracks=tracks)


def bits(d):
    """Return the cycle and value of every channel bit of a run."""
    turns = list(Turning(d))
    return np.concatenate([t.bit_cycle for t in turns]), np.concatenate([t.bit for t in turns])


@pytest.mark.parametrize("profile", [PAL, NTSC], ids=["pal", "ntsc"])
def test_regions_and_speed_add_up_exactly(profile):
    """Every bit of five revolutions ends where a running sum of exact fractions ends it."""
    d = disk(
        profile,
        density=[
            {"first_bit": 100, "bits": 37, "percent": 5},
            {"first_bit": 500, "percent": -3.846},
        ],
        speed_percent=-1.5,
        revolutions=5,
    )
    nominal = profile.cycles_per_bit / Fraction("0.985")
    lengths = [nominal] * 100 + [nominal * Fraction("1.05")] * 37 + [nominal] * 363
    lengths += [nominal * Fraction("0.96154")] * 140
    ends = accumulate(lengths * 5)
    assert bits(d)[0].tolist() == [d.start + int(end) for end in ends]


@pytest.mark.parametrize("count", [16, 23, 1001, 104_000])  # 16 is the shortest track
def test_any_length_turns_without_drift(count):
    """A ring of any number of channel bits ends on the cycle its last bit ends in."""
    d = disk(track={"layout": "random", "bits": count}, revolutions=3)
    assert d.cycles == d.start + int(3 * count * PAL.cycles_per_bit) + 1
    assert bits(d)[0][-1] == d.cycles - 1


def test_index_is_where_the_revolution_begins():
    """The index line goes up at the first cycle of each revolution, for as long as it is wide."""
    d = disk(revolutions=2, index_us=10)
    begin = d.start + int(640 * PAL.cycles_per_bit)
    shown = [d.drive.view(begin + n).index for n in (-1, 0, 69, 70)]
    assert shown == [0, 1, 1, 0]  # 10 us are 70.9 cycles


def test_rotation_goes_on_while_the_head_steps():
    """The new track's bits come at the angle the disk has reached; in between there is noise."""
    ones = {"layout": "words", "words": [0xFFFF], "repeat": 40}
    zeros = {"layout": "words", "words": [0, 0xF0F0], "repeat": 20}
    d = disk(
        track=ones,
        tracks=[zeros],
        steps=[{"at_us": 2000, "track": 1}],
        settle_us=1000,
        revolutions=4,
    )
    cycle, bit = bits(d)
    at, settle = d.drive.steps[0][0], d.drive.settle
    assert (at, settle) == (14187, 7093)
    assert bit[cycle < at].all()
    ring = d.tracks[0].bits
    still = np.flatnonzero(cycle >= at + settle)
    assert (bit[still] == ring[still % 640]).all()
    noise = bit[(cycle >= at) & (cycle < at + settle)]
    assert 0.3 < noise.mean() < 0.7
    views = [d.drive.view(c) for c in (at - 1, at, at + settle - 1, at + settle)]
    assert [(v.track, v.settled) for v in views] == [(0, 1), (1, 0), (1, 0), (1, 1)]


def test_tracks_of_other_lengths_are_refused():
    """Tracks to step to must be as long as the first."""
    with pytest.raises(UserError, match="tracks: one has 16 channel bits, track 0 has 640"):
        disk(tracks=[{"layout": "words", "words": [1]}], steps=[{"at_us": 1, "track": 1}])


@pytest.mark.parametrize("name", ["rephase", "counter", "second_order"])
def test_good_flux_comes_back_as_its_bits(name):
    """Without defects a separator returns the track's bits, about where the ideal one does."""
    track = {"layout": "words", "words": [0xAAAA] * 16 + [0x4489, 0x9254] * 16}
    ideal = bits(disk(track=track, revolutions=2))
    cycle, bit = bits(disk(track=track, revolutions=2, separator=name))
    text, wanted = ("".join(map(str, b.tolist())) for b in (bit, ideal[1]))
    assert wanted[256:1000] in text
    late = cycle[np.searchsorted(cycle, ideal[0][600:1000])] - ideal[0][600:1000]
    assert late.min() >= 0
    assert late.max() <= 15


def test_density_regions_reach_the_flux():
    """Long cells in front of a separator arrive later, by as much as the ideal ones do."""
    region = [{"first_bit": 300, "bits": 200, "percent": 4}]
    ideal = bits(disk(density=region))[0]
    cycle = bits(disk(density=region, separator="second_order"))[0]
    assert abs(cycle[500] - ideal[500]) < 2 * 15
    assert ideal[500] - bits(disk())[0][500] == pytest.approx(8 * 14.19, abs=1)


@pytest.mark.parametrize("kind", ["weak", "no_flux"])
def test_doubtful_flux_differs_by_revolution_and_comes_back_by_seed(kind):
    """Weak bits and the noise of a silent gap are drawn anew each turn, the same for each seed."""
    part = {"first_bit": 200, "bits": 200}
    extra = {"quiet_ns": 1000} if kind == "no_flux" else {"noise_ns": 400}
    flux = {kind: [part | extra]}
    make = {"flux": flux, "separator": "second_order", "revolutions": 2}
    one, two = (turn.bit for turn in Turning(disk(**make)))
    assert one[:600].tolist() != two[:600].tolist()
    assert np.array_equal(bits(disk(**make))[1], bits(disk(**make))[1])
    assert not np.array_equal(bits(disk(**make))[1], bits(disk(seed=2, **make))[1])


def test_a_span_is_up_from_its_rise_to_its_fall():
    """A level given as a span is 1 from the cycle it rises in until the one it falls in."""
    d = disk(levels={"dma_active": {"rise": 50, "fall": 80}})
    lane = next(Turning(d)).levels["dma_active"]
    assert [int(lane.at(c)) for c in (49, 50, 79, 80)] == [0, 1, 1, 0]


def test_place_names_the_bit_under_the_head():
    """A cycle is reported as revolution, place and channel bit, in regions of other density too."""
    d = disk(density=[{"percent": 10}], revolutions=2)
    assert d.place(d.start) == "before the first channel bit"
    for turn, bit in ((0, 0), (0, 639), (1, 0), (1, 300)):
        cycle = int(d.pace.arrivals(turn, d.start)[bit])
        assert d.place(cycle).startswith(f"revolution {turn + 1}, raw words")
        assert d.place(cycle).endswith(f"(bit {bit} of the track)")


@pytest.mark.parametrize(
    ("parts", "message"),
    [
        ({"density": [{"first_bit": 600, "bits": 50, "percent": 5}]}, "beyond the track"),
        (
            {
                "density": [
                    {"first_bit": 0, "bits": 50, "percent": 5},
                    {"first_bit": 49, "percent": 1},
                ]
            },
            "two regions share channel bit 49",
        ),
    ],
)
def test_regions_that_do_not_lie_on_the_track_are_refused(parts, message):
    """A region beyond the track or over another one is an error."""
    with pytest.raises(UserError, match=message):
        _ = disk(**parts).pace
