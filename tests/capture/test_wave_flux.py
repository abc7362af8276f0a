"""The read-data line in a waveform is flux, with the index line beside it."""

import json

import numpy as np
import pytest
from command import cellstep
from flux_cases import captured, plain_track

LINES = "disk: {flux: {signal: rdata_n, active: low}, index: {signal: index_n, active: low}}\n"


def pulses_of(ns, width, name, code):
    """Return the changes of an active-low line with a pulse at each time."""
    changes = [(0, f"1{code}")]
    for at in np.rint(ns).astype(int).tolist():
        changes += [(at + 1, f"0{code}"), (at + 1 + width, f"1{code}")]
    return f"$var wire 1 {code} {name} $end\n", changes


@pytest.fixture
def wave(tmp_path):
    """Return a dump of a drive's lines over two revolutions."""
    flux = captured(plain_track(), revolutions=2)
    one, pulses = pulses_of(flux.ns, 400, "rdata_n", "!")
    two, index = pulses_of(flux.index_ns, 2000, "index_n", "#")
    body, now = [], -1
    for at, change in sorted(pulses + index):
        body += [f"#{at}"] * (at != now) + [change]
        now = at
    path = tmp_path / "drive.vcd"
    head = f"$timescale 1ns $end\n{one}{two}$enddefinitions $end\n"
    path.write_text(head + "\n".join(body) + "\n")
    return path


def test_a_waveform_of_the_drive_is_a_track(wave, tmp_path):
    """Active-low pulses become flux and revolutions; the check codes are right."""
    (tmp_path / "map.yaml").write_text(LINES)
    done = cellstep("track", wave, "--map", tmp_path / "map.yaml", "--json")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert len(told["revolutions"]) == 2
    assert {p["crc_stored"] for p in told["parts"] if p["name"].endswith("data")} == {"C40B"}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("disk: {index: index_n}\n", "needs flux: the read-data line of the drive"),
        (LINES.replace("rdata_n", "rdat"), "disk.flux: 'rdat': no such signal"),
        ("disc: {}\n", "unknown key 'disc'"),
    ],
)
def test_a_map_that_names_no_flux_is_refused(text, message, wave, tmp_path):
    """The message names the key."""
    (tmp_path / "map.yaml").write_text(text)
    done = cellstep("track", wave, "--map", tmp_path / "map.yaml")
    assert done.returncode == 2
    assert message in done.stderr


def test_a_waveform_needs_a_map(wave):
    """Without one it is not known which line is which."""
    done = cellstep("track", wave)
    assert done.returncode == 2
    assert "--map must say which of its signals are the drive's lines" in done.stderr
