"""A captured track is the disk of a run: both simulators read what was captured."""

import numpy as np
import pytest
from command import cellstep
from flux_cases import BIT_NS, captured, plain_track, write_text

from hdl_stubs.defects import REFERENCE
from refmodel.ground.errors import UserError
from refmodel.ground.pulses import NO_BIT
from refmodel.media.flux_defects import Defects, Weak
from refmodel.media.reader import read_sectors
from refmodel.profile import load_profile
from refmodel.world.captured import CapturedPace, CapturedTrack
from refmodel.world.load import load_scenario
from refmodel.world.revolutions import turns_of
from refmodel.world.spans import disk_of
from refmodel.world.turning import Turning

PAL = load_profile("pal_dd")
WEAK = Weak(first_bit=40_000, bits=160)


def scenario(folder, revolutions, captured_revolutions=3, more=""):
    """Write a captured track with weak bits, and a scenario that plays it; return its file."""
    flux = captured(plain_track(), Defects(jitter_ns=60, weak=[WEAK]), captured_revolutions)
    write_text(folder / "flux.txt", flux)
    path = folder / "captured.yaml"
    path.write_text(
        "name: captured\ntrack: {layout: capture, file: flux.txt}\n"
        f"revolutions: {revolutions}\n{more}"
    )
    return path


def disk(path):
    """Return a scenario file's disk under the standard profile."""
    return disk_of(path, load_scenario(path), PAL, 1)


def test_the_sectors_that_were_captured_are_read(tmp_path):
    """The profile's separator makes the sectors of the captured pulses again."""
    bits = next(Turning(disk(scenario(tmp_path, 1)))).bit
    sectors = read_sectors(bits)
    assert [s.number for s in sectors if s.data_crc_ok] == [1, 2, 3, 5, 6, 7, 8, 9]


def test_each_revolution_is_the_captured_one_and_then_the_first_again(tmp_path):
    """Five revolutions of three captured ones: the fourth is the first, as long and as weak."""
    made = list(Turning(disk(scenario(tmp_path, 5))))
    pulses = [np.diff(stimulus.pulses.cycle) for stimulus in made]
    assert len({len(p) for p in pulses[:3]} | {p.tobytes() for p in pulses[:3]}) > 2
    same = min(len(pulses[0]), len(pulses[3]))
    assert np.abs(pulses[0][5:same] - pulses[3][5:same]).max() <= 1  # where a cycle's edge falls


def test_weak_bits_differ_between_revolutions_as_counted(tmp_path):
    """What the run's separator reads of the weak bits is what the overlay counted."""
    path = scenario(tmp_path, 3)
    made = disk(path)
    ones = made.track.turns.overlay.ones[40_000:40_160]
    read = [s.pulses.bit for s in Turning(made)]
    counted = np.zeros(160, int)
    for turn, bits in enumerate(read):
        here = bits[bits != NO_BIT] - turn * len(made.track)
        np.add.at(counted, here[(here >= 40_000) & (here < 40_160)] - 40_000, 1)
    assert (counted == ones).all()
    assert ((ones > 0) & (ones < 3)).any()


def test_places_are_those_of_the_captured_track(tmp_path):
    """A mismatch on it is reported by sector, byte and revolution."""
    made = disk(scenario(tmp_path, 4))
    begin = made.pace.begin(3, made.start)
    assert made.place(begin + 60_000).startswith("revolution 4, sector 1 data, ")
    assert made.place(0) == "before the first channel bit"


def test_revolutions_keep_their_own_length():
    """Times are laid out by each revolution's own length, without drift over rounds."""
    turns = turns_of(captured(plain_track(), revolutions=3), BIT_NS)
    pace = CapturedPace(CapturedTrack.of(turns), PAL.clock_hz)
    assert [pace.turn_at(pace.begin(n, 4), 4) for n in range(7)] == list(range(7))
    assert pace.begin(6) == int(2 * sum(pace.lengths))
    assert pace.fitting(pace.begin(5)) == 5


def test_what_a_capture_says_itself_is_not_said_again(tmp_path):
    """Density, speed and flux defects of a scenario contradict a captured track."""
    path = scenario(tmp_path, 1, more="speed_percent: 1\n")
    with pytest.raises(UserError, match="speed_percent: the track is a capture"):
        load_scenario(path)


@pytest.mark.parametrize(
    ("layout", "message"),
    [
        ("{layout: capture, file: none.txt}", "none.txt: cannot be read"),
        ("{layout: capture, file: ../flux.txt}", "lies outside the scenario's folder"),
        ("{layout: capture, file: flux.txt, rate: 0}", "'0' is not a rate in ticks per second"),
        ("{layout: capture, file: few.txt}", "few.txt: only 2 pulses: too few to read"),
    ],
)
def test_a_capture_that_is_none_says_so(layout, message, tmp_path):
    """What is wrong with the file of a captured track is reported with its name."""
    scenario(tmp_path, 1)
    (tmp_path / "few.txt").write_text("4000\n4000\n")
    path = tmp_path / "bad.yaml"
    path.write_text(f"name: bad\ntrack: {layout}\n")
    done = cellstep("trace", path)
    assert done.returncode == 2
    assert message in done.stderr


def test_a_core_reads_the_captured_disk_in_lockstep(simulator, tmp_path):
    """The reference core agrees on the user's disk, on each simulator."""
    flux = captured(plain_track(), Defects(jitter_ns=60, weak=[WEAK]), 1)
    write_text(tmp_path / "flux.txt", flux)
    path = tmp_path / "captured.yaml"
    path.write_text("name: captured\ntrack: {layout: capture, file: flux.txt}\n")
    done = cellstep("run", REFERENCE / "binding.yaml", "--suite", path, "--sim", simulator)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "agree: 1 418" in done.stdout
