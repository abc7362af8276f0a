"""A drive by itself: it comes to speed, turns, steps, settles, and notes a changed disk.

Times are those of the profiles, whose sources are named there. 1 MHz makes a cycle a microsecond.
"""

import itertools
from fractions import Fraction

import pytest

from refmodel.drive.bus import DriveBus, Head
from refmodel.drive.mechanism import Inserted, Shows
from refmodel.drive.profile import load_drive_profile

MHZ = Fraction(1_000_000)
SPUN = 1_000_000


def bus_of(*names, changes=None, hz=MHZ):
    """Return drives of these profiles, with keys of each `changed`."""
    profiles = {}
    for n, name in enumerate(names):
        profile = load_drive_profile(name)
        for where, value in (changes or {}).items():
            part, _, key = where.rpartition(".")
            if part:
                inner = getattr(profile, part)
                profile = profile.model_copy(
                    update={part: inner.model_copy(update={key: _as(inner, key, value)})}
                )
            else:
                profile = profile.model_copy(update={key: _as(profile, key, value)})
        profiles[n] = profile
    return DriveBus.of(profiles, hz)


def _as(part, key, value):
    old = getattr(part, key)
    return old.model_copy(update={"use": value}) if hasattr(old, "use") else value


def spun_up(*names, **rest):
    """Return the drives with drive 0 selected and its disk at speed at cycle SPUN."""
    bus = bus_of(*names, **rest)
    bus.put(0, "motor", 1)
    bus.put(0, "select_0", 1)
    bus.advance(SPUN)
    return bus


def step(bus, at, width=2, inwards=None):
    """Make a step pulse; with `inwards` the direction is set 5 us before."""
    if inwards is not None:
        bus.put(at - 5, "direction", inwards)
    bus.put(at, "step", 1)
    bus.put(at + width, "step", 0)


def rules(bus):
    """Return the names of the broken rules."""
    return [v.rule for v in bus.violations]


def test_spin_up_is_a_ramp():
    """An even ramp of T turns half as far as full speed would: half the kinematic s = vT."""
    bus = spun_up("mm90")
    rotation = bus.drives[0].rotation
    assert rotation.angle(500_000) == pytest.approx(500_000 / 200_000 / 2)
    assert rotation.angle(700_000) == pytest.approx(500_000 / 200_000 / 2 + 1)
    assert rotation.speed(250_000) == pytest.approx(0.5)
    assert rotation.reaches(1.25) == pytest.approx(500_000, abs=1)


def test_ready_comes_when_the_disk_is_at_speed():
    """Ready rises once the speed is within 1.5 % of its aim, and falls with the motor."""
    bus = spun_up("mm90")
    assert [(0, 0), (492_500, 1)] == bus.lane("ready")
    bus.put(1_100_000, "motor", 0)
    assert (1_100_000, 0) == bus.lane("ready")[-1]


@pytest.mark.parametrize(("name", "period"), [("mm90", 200_000), ("mm200", 166_667)])
def test_index_period_and_width(name, period):
    """One index pulse a revolution: 60 s by 300 or 360 turns, as wide as the profile says."""
    bus = spun_up(name)
    bus.advance(8_000_000)
    index = [change for change in bus.lane("index") if change[0] > 3_000_000]
    rises = [cycle for cycle, value in index if value]
    falls = [cycle for cycle, value in index if not value]
    assert {period, period - 1} >= {b - a for a, b in itertools.pairwise(rises)}
    width = bus.drives[0].profile.index.width_us.use
    first = next(n for n, fall in enumerate(falls) if fall > rises[0])
    assert {width} == {f - r for r, f in zip(rises, falls[first:], strict=False)}


@pytest.mark.parametrize("percent", [-1.5, 1.5])
def test_index_follows_the_speed(percent):
    """A drive 1.5 % off makes longer or shorter revolutions (SFD-321B OEM manual: +-1.5 %)."""
    bus = spun_up("mm90", changes={"speed_percent": percent})
    bus.advance(5_000_000)
    rises = [cycle for cycle, value in bus.lane("index") if value and cycle > SPUN]
    mean = (rises[-1] - rises[0]) / (len(rises) - 1)
    assert mean == pytest.approx(200_000 / (1 + percent / 100), abs=1)


def test_index_jitter_does_not_add_up():
    """Jitter moves each pulse from its own place, so that it never adds up."""
    bus = spun_up("mm90", changes={"index.jitter_us": 20})
    bus.advance(21_000_000)
    rises = [cycle for cycle, value in bus.lane("index") if value and cycle > SPUN]
    off = [(cycle - rises[0] + 100_000) % 200_000 - 100_000 for cycle in rises]
    assert 99 <= len(rises) <= 101
    assert max(off) - min(off) <= 40
    assert max(off) - min(off) > 10


def test_rotation_goes_on_during_steps():
    """The index comes as if no step had been made."""
    plain, stepped = spun_up("mm90"), spun_up("mm90")
    for n in range(80):
        step(stepped, SPUN + 10 + 3000 * n, inwards=1)
    for bus in (plain, stepped):
        bus.advance(3_000_000)
    assert plain.lane("index") == stepped.lane("index")
    assert 79 == stepped.drives[0].cylinder


@pytest.mark.parametrize(("edge", "acts_at"), [("leading", 0), ("trailing", 2)])
def test_the_edge_that_acts_is_a_parameter(edge, acts_at):
    """The head leaves track zero at the edge the profile names; sources differ on it."""
    bus = spun_up("mm90", changes={"step.acts_on": edge})
    step(bus, SPUN + 10, inwards=1)
    assert (SPUN + 10 + acts_at, 0) == bus.lane("track_zero")[-1]


def test_data_is_valid_only_when_selected_turning_and_settled():
    """The head shows spinning up, data, settling for a step and 15 ms, data, then nothing."""
    bus = spun_up("mm90")
    step(bus, SPUN + 10, inwards=1)
    bus.advance(SPUN + 40_000)
    bus.put(SPUN + 50_000, "side", 1)
    bus.advance(SPUN + 60_000)
    bus.put(SPUN + 70_000, "select_0", 0)
    assert [
        Head(0, Shows.NOTHING),
        Head(0, Shows.SPINNING_UP, 0),
        Head(492_500, Shows.DATA, 0),
        Head(SPUN + 12, Shows.SETTLING, 0, 1),
        Head(SPUN + 12 + 18_000, Shows.DATA, 0, 1),
        Head(SPUN + 50_000, Shows.SETTLING, 0, 1, 1),
        Head(SPUN + 50_100, Shows.DATA, 0, 1, 1),
        Head(SPUN + 70_000, Shows.NOTHING),
    ] == bus.heads


def test_the_change_latch_is_cleared_by_a_step_with_a_disk_in():
    """Change is up from the start and after a swap; a step clears it only with a disk in."""
    bus = spun_up("mm90")
    step(bus, SPUN + 10, inwards=1)
    assert [(0, 1), (SPUN + 12, 0)] == bus.lane("change")
    bus.insert(SPUN + 100, 0, None)
    step(bus, SPUN + 30_000)
    assert (SPUN + 100, 1) == bus.lane("change")[-1]
    bus.insert(SPUN + 50_000, 0, Inserted(protected=True))
    step(bus, SPUN + 60_000)
    assert [(SPUN + 100, 1), (SPUN + 60_002, 0)] == bus.lane("change")[-2:]
    assert (SPUN + 50_000, 1) == bus.lane("protect")[-1]


def test_no_index_without_a_disk():
    """With no disk there is no index, nor is the drive ready."""
    bus = spun_up("mm90")
    bus.insert(SPUN + 10, 0, None)
    bus.advance(SPUN + 1_000_000)
    assert max(cycle for cycle, _ in bus.lane("index")) <= SPUN + 10
    assert (SPUN + 10, 0) == bus.lane("ready")[-1]


def test_the_motor_is_latched_on_select_where_the_profile_says_so():
    """Such a drive takes the motor line when it is selected, and keeps it when let go."""
    bus = bus_of("mm130")
    bus.put(10, "motor", 1)
    bus.advance(1_000_000)
    assert 0 == bus.drives[0].rotation.speed(1_000_000)
    bus.put(1_000_010, "select_0", 1)
    bus.put(1_000_020, "select_0", 0)
    bus.put(1_000_030, "motor", 0)
    bus.advance(2_000_000)
    assert 1 == bus.drives[0].rotation.speed(2_000_000)


def test_a_bus_of_four_shows_the_selected_one():
    """Of four drives the selected one alone answers; with two, a line is up if either pulls it."""
    bus = spun_up("mm90", "mm90", "mm200", "mm130")
    step(bus, SPUN + 10, inwards=1)
    bus.put(SPUN + 100, "select_0", 0)
    assert (SPUN + 12, 0) == bus.lane("track_zero")[-1]
    bus.put(SPUN + 110, "select_1", 1)
    assert (SPUN + 110, 1) == bus.lane("track_zero")[-1]
    bus.put(SPUN + 120, "select_0", 1)
    assert Shows.SEVERAL is bus.heads[-1].shows
    assert (SPUN + 110, 1) == bus.lane("track_zero")[-1]
    bus.put(SPUN + 130, "select_1", 0)
    assert (SPUN + 130, 0) == bus.lane("track_zero")[-1]
    assert (0, 1) == (bus.heads[-1].drive, bus.heads[-1].cylinder)


def test_a_seek_over_80_tracks_keeps_every_rule():
    """79 steps a step period apart break no rule and end on the last track."""
    bus = spun_up("mm90")
    for n in range(79):
        step(bus, SPUN + 10 + 3000 * n, inwards=1)
    bus.finish(3_000_000)
    assert (79, []) == (bus.drives[0].cylinder, rules(bus))
