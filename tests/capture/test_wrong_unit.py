"""A capture whose times cannot be right says so, and what its unit seems to be, at once."""

import numpy as np
import pytest
from command import cellstep
from flux_cases import BIT_NS, captured, plain_track, write_text
from test_wave_flux import LINES, wave  # noqa: F401  a fixture

from refmodel.ground.errors import UserError
from refmodel.media.flux_list import FluxList
from refmodel.media.plausible import check_flux, doubts


@pytest.fixture(scope="module")
def flux():
    """Return two revolutions of a plain track, all of it right."""
    return captured(plain_track(), revolutions=2)


def scaled(flux, by):
    """Return flux with all times so many times as long."""
    return FluxList(flux.ns * by, flux.index_ns * by)


@pytest.mark.parametrize(
    ("by", "said"),
    [
        (1000, "1000 times too long"),
        (1e6, "1000000 times too long"),
        (0.001, "1000 times too short"),
        (600, "1000 times too long"),  # and a fast disk, or a higher density
        (0.024, "about 41.7 times too short, as if 24 MHz ticks were taken for ns"),
        (12, "about 12 times too long"),
    ],
)
def test_times_that_no_disk_has_are_refused_with_their_factor(flux, by, said):
    """The factor is the nearest power of 1000, or the rate of the ticks."""
    with pytest.raises(UserError, match=said):
        check_flux(scaled(flux, by), BIT_NS)


@pytest.mark.parametrize("by", [0.5, 0.9, 1.0, 1.1, 2.0, 4.0])
def test_densities_and_speeds_are_read(flux, by):
    """Neither half nor four times the channel bit is refused."""
    check_flux(scaled(flux, by), BIT_NS)


@pytest.mark.parametrize(
    ("by", "said"), [(1.0, None), (1.08, None), (1.3, "turn slowly"), (0.5, "turn fast")]
)
def test_a_disk_of_another_speed_is_noted(flux, by, said):
    """A drive is never 15 % off, but a wrong profile is."""
    found = "; ".join(doubts(FluxList(flux.ns * by, np.empty(0)), BIT_NS))
    assert (said in found) if said else not found


def test_a_line_with_noise_on_the_index_is_noted(flux):
    """Index pulses 60 ms apart are those of no drive."""
    index = np.sort(np.concatenate((flux.index_ns, flux.index_ns[:-1] + 60e6)))
    (said,) = doubts(FluxList(flux.ns, index), BIT_NS)
    assert "noise on the index line (glitch_ns" in said


@pytest.mark.parametrize(("mhz", "slow"), [(1, True), (2.5, True), (4, False), (24, False)])
def test_samples_too_far_apart_are_noted(flux, mhz, slow):
    """Below six samples a channel bit the rate is said; the disk is 0.4 % slow, as drives are."""
    step = 1000 / mhz
    ns = np.rint(np.ceil(flux.ns * 1.004 / step) * step)
    found = doubts(FluxList(ns, np.empty(0)), BIT_NS)
    assert [f"sampled every {step:g} ns" in said for said in found] == [True] * slow


def test_a_capture_of_mere_silence_is_refused(flux):
    """A counter that jumped by an hour would fill the memory with channel bits."""
    ns = np.concatenate((flux.ns, flux.ns + 3.6e12))
    with pytest.raises(UserError, match="mostly silence, the longest of 3600 s from 400 ms"):
        check_flux(FluxList(ns, flux.index_ns), BIT_NS)


@pytest.mark.parametrize(
    ("unit", "said"),
    [("1 us", "1000 times too long"), ("1 ps", "1000 times too short")],
)
def test_a_dump_of_a_wrong_timescale_is_refused(unit, said, wave, tmp_path):  # noqa: F811
    """In `track` the message names $timescale."""
    (tmp_path / "map.yaml").write_text(LINES)
    wave.write_text(wave.read_text().replace("1ns", unit))
    done = cellstep("track", wave, "--map", tmp_path / "map.yaml")
    assert done.returncode == 2
    assert said in done.stderr
    assert "correct $timescale, file.unit or rate" in done.stderr


def test_the_disk_of_a_scenario_is_refused_alike(flux, tmp_path):
    """A captured track without its rate is refused in a run, before anything is built."""
    write_text(tmp_path / "a.txt", flux, 125 / 3)
    scenario = tmp_path / "a.yaml"
    scenario.write_text("name: a\ntrack: {layout: capture, file: a.txt}\nrevolutions: 1\n")
    done = cellstep("track", scenario)
    assert done.returncode == 2
    assert "as if 24 MHz ticks were taken for ns" in done.stderr
