"""Flux with head steps and overwritten parts reads as the tracks do through an ideal separator."""

from pathlib import Path

import numpy as np
import pytest

from refmodel.ground.errors import UserError
from refmodel.ground.pulses import NO_BIT
from refmodel.media.writing import Burst
from refmodel.profile import load_profile
from refmodel.world.disk import Disk
from refmodel.world.passage import source_of
from refmodel.world.scenario import Scenario

PAL = load_profile("pal_dd")
STEPPING = {
    "track": {"layout": "words", "words": [0x9254, 0x5554], "repeat": 60},
    "tracks": [{"layout": "words", "words": [0x4489, 0x2A91], "repeat": 60}],
    "steps": [{"at_us": 5000, "track": 1}],
    "settle_us": 1000,
    "revolutions": 3,
}
WRITTEN = {
    "track": {"layout": "words", "words": [0xAAAA], "repeat": 200},
    "written": [{"first": 9000, "bit_cycles": 14, "bits": f"{0x4489_5545_9254:048b}" * 20}],
}


def disk_of(keys, **more):
    """Return a disk of a scenario of these keys."""
    scenario = Scenario.model_validate({"name": "head", **keys, **more})
    return Disk.of(scenario, PAL, Path(), 1)


def turns_of(keys, **more):
    """Return what passes the head in each revolution."""
    disk = disk_of(keys, **more)
    source = source_of(disk)
    return disk, [source.turn(n) for n in range(disk.scenario.revolutions)]


def text_of(passage, first=0, end=1 << 62):
    """Return the channel bits that arrive in these cycles as text."""
    here = (passage.cycle >= first) & (passage.cycle < end)
    return "".join(map(str, passage.bit[here].tolist()))


@pytest.mark.parametrize("separator", ["rephase", "second_order"])
def test_a_head_that_steps_reads_both_tracks(separator):
    """Before the step the first track is read, then noise, and behind the settling the other."""
    disk, flux = turns_of(STEPPING, separator=separator)
    _, ideal = turns_of(STEPPING)
    at = disk.drive.steps[0][0]
    still = at + disk.drive.settle
    assert f"{0x9254:016b}{0x5554:016b}" * 20 in text_of(flux[0])
    assert f"{0x4489:016b}{0x2A91:016b}" * 10 in text_of(flux[1], still + 600)
    assert f"{0x4489:016b}{0x2A91:016b}" * 20 in text_of(flux[2])
    noisy = text_of(flux[1], at + 200, still - 200)
    assert len(noisy) == pytest.approx(len(text_of(ideal[1], at + 200, still - 200)), abs=40)
    assert noisy.count("1") == pytest.approx(len(noisy) / 4, rel=0.5)  # a pulse in four bits


def test_what_was_written_is_read_as_flux():
    """Written words come back through a separator as they do through an ideal one."""
    _, (flux,) = turns_of(WRITTEN, separator="second_order")
    _, (ideal,) = turns_of(WRITTEN)
    written = f"{0x4489_5545_9254:048b}" * 18
    assert written in text_of(ideal)
    assert written in text_of(flux)
    inside = (flux.pulses.cycle > 9000) & (flux.pulses.cycle < 9000 + 14 * 960)
    assert set(flux.pulses.bit[inside].tolist()) == {NO_BIT}
    assert NO_BIT not in flux.pulses.bit[~inside].tolist()


def test_a_write_changes_the_flux_of_later_revolutions():
    """What the gate wrote in one revolution is read in the next one, and not before."""
    disk = disk_of({"track": WRITTEN["track"], "revolutions": 2, "separator": "second_order"})
    source = source_of(disk)
    assert source.takes_writes
    bits = np.array([int(c) for c in f"{0x4489_5545:032b}" * 30], np.uint8)
    first = source.turn(0)
    source.write(Burst(10_000, 10_000 + 14 * len(bits), 10_000 + 7 + 14 * np.flatnonzero(bits)))
    later = source.turn(1)
    words = f"{0x4489_5545:032b}" * 25
    assert words not in text_of(first)
    assert words in text_of(later)


def test_a_second_track_without_a_transition_is_told_by_its_key():
    """A track the head steps to needs flux, too."""
    empty = [{"layout": "words", "words": [0], "repeat": 120}]
    with pytest.raises(UserError, match=r"tracks: the track has no transition"):
        turns_of(STEPPING | {"tracks": empty}, separator="rephase")
