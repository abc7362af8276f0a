"""A run that no harness could count, and no memory hold, is refused at its place in the file."""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

import hdl_stubs
from refmodel.cli.main import main
from refmodel.ground.errors import UserError
from refmodel.profile import load_profile
from refmodel.world.disk import Disk
from refmodel.world.levels import LONGEST_RUN
from refmodel.world.load import load_scenario
from refmodel.world.scenario import Scenario
from refmodel.world.turning import Turning
from testbenches.binding.load import load_binding
from testbenches.lockstep import Lockstep
from testbenches.simulator import Session

PAL = load_profile("pal_dd")
MILLION = "name: long\ntrack: {layout: random, bits: 1000000}\n"
SLOW = PAL.model_copy(update={"channel_bit_ns": 1_000_000})  # 7093.79 cycles a channel bit
BINDING = Path(hdl_stubs.__file__).parent / "reference" / "binding.yaml"


def refusal(tmp_path, text, profile=PAL):
    """Return the message that refuses a scenario's disk, its folder left out; empty if none."""
    path = tmp_path / "s.yaml"
    path.write_text(text)
    scenario = load_scenario(path)
    try:
        Disk(scenario, scenario.track.build(1, tmp_path), profile)
    except UserError as error:
        return str(error).replace(f"{tmp_path}/", "")
    return ""


@pytest.mark.parametrize(
    ("text", "profile", "message"),
    [
        (f"{MILLION}revolutions: 302\n", PAL, ""),
        (
            f"{MILLION}revolutions: 303\n",
            PAL,
            "s.yaml:3:1: revolutions: '303' take 4298836745 cycles, a run 4294000000 at most;"
            " give up to 302",
        ),
        (
            MILLION,
            SLOW,
            "s.yaml:2:1: track: a revolution takes 7093790000 cycles, a run 4294000000 at most",
        ),
        (f"{MILLION}levels: {{writing: {{toggle_every: 2}}}}\n", PAL, ""),
        (
            f"{MILLION}levels: {{writing: {{toggle_every: 1}}}}\n",
            PAL,
            "s.yaml:3:20: levels.writing.toggle_every: '1' makes 14187580 changes in a revolution,"
            " 10000000 at most; give 2 or more",
        ),
    ],
)
def test_what_is_too_long(tmp_path, text, profile, message):
    """Revolutions, a track and a level that do not fit are reported with what would fit.

    1 000 000 channel bits are 14 187 580 cycles (7 093 790 Hz times 2000 ns, by hand); 303 times
    that and 5 cycles, of reset and until the last bit, are more than 4 294 000 000.
    """
    assert PAL.cycles_per_bit == Fraction(1_418_758, 100_000)
    assert message == refusal(tmp_path, text, profile)


def test_a_harness_counts_the_longest_run():
    """The harness's counters have 32 bits, and count on for as long as a bus may be late."""
    template = (BINDING.parents[2] / "testbenches" / "harness.sv.j2").read_text()
    assert "reg [31:0] cycle" in template
    assert LONGEST_RUN + 256 < 1 << 32


def test_no_simulator_starts(tmp_path, monkeypatch, capsys):
    """`cellstep run` ends with 2 and file, key and value before it starts a simulator."""
    path = tmp_path / "s.yaml"
    path.write_text(f"{MILLION}revolutions: 1000\n")
    monkeypatch.setattr(Session, "run", lambda *_: pytest.fail("a simulator runs"))
    monkeypatch.setattr("sys.argv", ["cellstep", "run", str(BINDING), "--suite", str(path)])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    assert f"{path}:3:1: revolutions: '1000' take 14187580005 cycles" in capsys.readouterr().err


def test_a_live_run_is_shorter(tmp_path):
    """What a live host counts in 31 bits is refused where replay would take it."""
    path = tmp_path / "s.yaml"
    path.write_text(f"{MILLION}revolutions: 152\n")
    lockstep = Lockstep(load_binding(BINDING), tmp_path, 1, {}, live=True)
    with pytest.raises(UserError) as error:
        lockstep.prepare([(path, load_scenario(path))], lambda _: None)
    assert str(error.value) == (
        f"{path}:3:1: revolutions: '152' take 2156512165 cycles, a live run 2147483646 at most;"
        " leave out --live"
    )


def test_a_toggling_level_goes_on_over_the_revolutions():
    """A level changes every 37 cycles from the end of reset on, also where a revolution ends."""
    track = {"layout": "words", "words": [0x9254], "repeat": 2}
    levels = {"writing": {"toggle_every": 37}}
    scenario = Scenario.model_validate(
        {"name": "d", "track": track, "levels": levels, "revolutions": 5}
    )
    disk = Disk(scenario, scenario.track.build(1, None), PAL)
    cycles = np.arange(disk.cycles)
    seen = [t.levels["writing"].at(cycles[t.first : t.end]) for t in Turning(disk)]
    expected = [int(c >= disk.start and (c - disk.start) // 37 % 2 == 0) for c in cycles]
    assert expected == np.concatenate(seen).tolist()
