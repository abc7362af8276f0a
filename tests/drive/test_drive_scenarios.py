"""The shipped scenarios with drives, on the model: what the host program finds, what is broken."""

import numpy as np
import pytest

from refmodel.drive.mechanism import Shows
from refmodel.ground.bus import DRIVE_LINES, DRIVE_STATUS
from refmodel.host.processor import REGISTERS
from refmodel.media.track import iso_track
from refmodel.profile import load_profile
from refmodel.world.disk import Disk
from refmodel.world.drive_world import DriveWorld
from refmodel.world.find import find_scenario, find_suite
from refmodel.world.load import load_scenario


def played(path, scenario):
    """Return what a scenario's program returns on the model, and its drives."""
    disk = Disk.of(scenario, load_profile("pal_dd"), path.parent, scenario.own_seed(1))
    processor = disk.processor(registers=(*REGISTERS, DRIVE_LINES, DRIVE_STATUS))
    world = DriveWorld(disk, path.parent, processor)
    for _ in world.spans():
        pass
    return processor.returned, world.cabled


def rules(cabled):
    """Return the names of the rules broken, each once."""
    return list(dict.fromkeys(violation.rule for violation in cabled.violations))


QUICK = {
    "drive/seek": lambda steps: steps == 8,
    "drive/swap": lambda found: found == (128, 2),
    "drive/motor": lambda looks: looks > 3,
    "drive/changed": lambda found: len(found) == 1 and found[0][3],
    "drive/late_select_held": lambda result: result is None,
}
SLOW = {
    "drive/burst": lambda steps: steps == 79,
    "drive/index": lambda counts: counts == [2027, 2027],  # 200 ms of 700 cycles each
    "drive/four": lambda found: all(ok for sectors in found for *_, ok in sectors),
    "drive/format": lambda found: found == [(1, 0, n, True) for n in range(1, 10)],
}


@pytest.mark.parametrize("name", QUICK)
def test_a_clean_scenario(name):
    """The program finds what the scenario is about, and no rule is broken."""
    found, cabled = played(*find_scenario(name))
    assert QUICK[name](found), found
    assert [] == rules(cabled)


@pytest.mark.long
@pytest.mark.parametrize("name", SLOW)
def test_a_clean_long_scenario(name):
    """The same of those that take long."""
    found, cabled = played(*find_scenario(name))
    assert SLOW[name](found), found
    assert [] == rules(cabled)


def test_every_scenario_is_tried():
    """Every scenario of the suite is among those above."""
    names = [f"drive/{path.stem}" for path, _ in find_suite("drive")]
    assert sorted(names) == sorted([*QUICK, *SLOW])


@pytest.mark.parametrize(
    ("name", "broken"),
    [
        ("hazard/bump", ["step_beyond"]),
        ("hazard/jumper", ["gate_unselected", "gate_after_select", "step_while_writing"]),
        ("hazard/late_select", ["select_while_writing", "gate_after_select"]),
        ("hazard/dead_link_held", ["pulse_outside_gate"]),
    ],
)
def test_a_hazard(name, broken):
    """Each hazard breaks the rules it is about, and no other."""
    assert broken == rules(played(*find_scenario(name))[1])


def test_a_dead_link_and_its_watchdog():
    """A link that dies with the gate open costs the track; with the watchdog, some milliseconds."""
    dead, held = (
        played(*find_scenario(f"hazard/{name}"))[1] for name in ("dead_link", "dead_link_held")
    )
    assert "gate_too_long" in rules(dead)
    (lost,), (kept,) = dead.bus.written, held.bus.written
    ms = (
        dead.bus.ticks.us(lost.end - lost.first) / 1000,
        held.bus.ticks.us(kept.end - kept.first) / 1000,
    )
    assert ms[0] > 206 > 2 > ms[1]
    assert ["the link has fallen silent"] == [kept.why for kept in held.link.kept]


MIXED = """\
name: mixed
track: {layout: random, bits: 100000}
revolutions: 2
drives:
  units:
    - select: 0
      turning: true
      sources: [{track: {layout: image, file: disk.img, sectors: 4, size: 256}}]
    - select: 1
      turning: true
      sources: [{track: {layout: capture, file: read.txt}}]
    - {select: 2, turning: true, sources: [{track: {layout: iso, sectors: 4, size: 256}}]}
host: {program: read_drives, params: {drives: [0, 1, 2], cylinder: 1, cost: 60}}
"""


@pytest.fixture
def mixed(tmp_path):
    """Lay down a scenario with an image of a whole disk and a captured track."""
    image = b"".join(bytes([n % 251]) * 1024 for n in range(160))
    (tmp_path / "disk.img").write_bytes(image)
    bits = iso_track(4, 256, cylinder=1, data=7).bits
    at = (np.flatnonzero(bits) + 1) * 2000
    turn = len(bits) * 2000
    pulses = np.concatenate([n * turn + at for n in range(2)])
    index = " ".join(str(n * turn) for n in range(3))
    lines = ["times", f"index {index}", *map(str, pulses.tolist())]
    (tmp_path / "read.txt").write_text("\n".join(lines) + "\n")
    path = tmp_path / "mixed.yaml"
    path.write_text(MIXED)
    return path


def test_an_image_a_capture_and_a_made_track(mixed):
    """Drives whose disks are an image, a captured track and a made one are read alike."""
    found, cabled = played(mixed, load_scenario(mixed))
    assert [[1], [1], [1]] == [[cylinder for cylinder, *_ in sectors] for sectors in found]
    assert all(ok for sectors in found for *_, ok in sectors)
    assert [] == rules(cabled)
    shown = {head.drive for head in cabled.bus.heads if head.shows is Shows.DATA}
    assert {0, 1, 2} == shown
