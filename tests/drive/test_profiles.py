"""Drive profiles: published times with their spread, each with its source."""

import pytest

from refmodel.drive.profile import (
    DriveProfile,
    Published,
    drive_profile_names,
    load_drive_profile,
)
from refmodel.ground.errors import InputError, UserError
from refmodel.ground.yamlfile import Schema


def times_of(part, path=""):
    """Yield every published time of a profile and where it stands."""
    for name, value in part:
        if isinstance(value, Published):
            yield f"{path}{name}", value
        elif isinstance(value, Schema):
            yield from times_of(value, f"{path}{name}.")


def test_three_profiles_ship():
    """Three kinds of drive ship, two at 300 turns a minute and one at 360."""
    turns = {name: load_drive_profile(name).turns_a_minute for name in drive_profile_names()}
    assert {"mm90": 300, "mm130": 300, "mm200": 360} == turns


@pytest.mark.parametrize("name", drive_profile_names())
def test_every_time_names_its_source(name):
    """Every time of a shipped profile says where it is from, or that it has no source."""
    profile = load_drive_profile(name)
    assert [] == [where for where, time in times_of(profile) if not time.source]
    assert profile.speed_percent.source
    assert profile.step.acts_on_source


def test_published_values():
    """The times are those of the manuals named in the profiles (read there)."""
    small, old = load_drive_profile("mm90"), load_drive_profile("mm200")
    step = small.step
    assert (1, 3000, 15000, 1) == (
        step.pulse_us.use,
        step.period_us.use,
        step.settle_us.use,
        step.direction_setup_us.use,
    )
    assert (500000, 100) == (small.motor.spin_up_us.use, small.side_settle_us.use)
    assert [-1.5, 1.5] == small.speed_percent.spread
    assert 200_000 == small.turn_us
    assert 16000 == old.step.reversal_us.use
    assert 16000 == old.write.after_step_us.spread[0]
    assert {"leading", "trailing"} == {step.acts_on, old.step.acts_on}


@pytest.mark.parametrize("seed", range(20))
def test_a_drawn_drive_keeps_within_the_spread(seed):
    """A drive drawn from the spread lies within it, is drawn anew by another seed, and repeats."""
    profile = load_drive_profile("mm90")
    drawn = profile.drawn(seed)
    assert drawn == profile.drawn(seed) != profile.drawn(seed + 1)
    for (where, time), (_, base) in zip(times_of(drawn), times_of(profile), strict=True):
        low, high = base.spread or (base.use, base.use)
        assert low <= time.use <= high, where
    assert -1.5 <= drawn.speed_percent.use <= 1.5


FAULTS = [
    ("use: 0, spread: [-1.5", "usage: 0, spread: [-1.5", "unknown key 'usage'"),
    ('{use: 100, source: "common', '{use: -1, source: "common', "greater than or equal to 0"),
    ("spread: [1500, 5000]", "spread: [2500, 5000]", "2000 is outside its spread"),
    ("turns_a_minute: 300", "turns_a_minute: 310", "'310' is not one of 300"),
    ("acts_on: trailing", "acts_on: both", "'both' is not one of"),
    ("cylinders: 80", "cylinders: 0", "greater than or equal to 1"),
]


@pytest.mark.parametrize(("old", "new", "said"), FAULTS)
def test_faults_of_a_file(tmp_path, old, new, said):
    """A fault is reported with file, line, column, key and what would do."""
    from refmodel.drive.profile import PROFILES

    text = (PROFILES / "mm90.yaml").read_text()
    assert old in text
    path = tmp_path / "mine.yaml"
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        load_drive_profile("mine.yaml", tmp_path)
    assert said in str(caught.value)
    assert str(caught.value).startswith(f"{path}:")


def test_an_unknown_profile():
    """An unknown name is reported with the nearest one."""
    with pytest.raises(UserError, match="did you mean 'mm90'"):
        load_drive_profile("mm900")


def test_a_short_form(tmp_path):
    """A user's own profile may give a time as a number alone."""
    from refmodel.drive.profile import PROFILES

    text = (PROFILES / "mm200.yaml").read_text()
    path = tmp_path / "mine.yaml"
    line = next(x for x in text.splitlines() if x.startswith("side_settle_us"))
    path.write_text(text.replace(line, "side_settle_us: 50"))
    profile = load_drive_profile(str(path))
    assert isinstance(profile, DriveProfile)
    assert Published(use=50) == profile.side_settle_us
