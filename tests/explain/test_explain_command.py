"""`cellstep explain`: the moment asked for, with its causes, as text and as drawings."""

import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from command import cellstep

from refmodel.media.mfm import find
from refmodel.media.track import iso_track

POLL = "quick/sync_poll"  # AAAA 4489 4489 ...: matches end with channel bits 31 and 47
BIT = 7093790 * 2e-6  # cycles of a channel bit of pal_dd


def test_second_match():
    """The second match is where plain arithmetic puts channel bit 47, and its causes are told."""
    cycle = 4 + int(48 * BIT)
    out = cellstep("explain", POLL, "--around", "sync:2").stdout
    assert f"match 2 of the sync word, cycle {cycle}," in out
    row = next(line for line in out.splitlines() if line.startswith(">"))
    assert row.split()[:5] == [">", str(cycle), "bit", "1", "4489"]
    assert "sync_equal 0 -> 1" in row
    assert "equals sync_word" in out
    assert "\nB3   sync_equal is 1 exactly while" in out


def test_readme_shows_what_the_command_says():
    """The example in docs/explain.md is the command's output, word for word."""
    told = cellstep("explain", POLL, "--around", "sync:2").stdout
    readme = (Path(__file__).parents[2] / "docs" / "explain.md").read_text(encoding="utf-8")
    shown = readme.partition(f"    cellstep explain {POLL} --around sync:2\n\n")[2]
    assert shown.startswith("".join(f"    {line}".rstrip() + "\n" for line in told.splitlines()))


def test_match_of_an_iso_track():
    """The fourth match of an ISO track is where plain search finds the fourth 4489 (B3)."""
    bit = int(find(iso_track().bits, 0x4489)[3])
    out = cellstep("explain", "iso_sectors", "--around=sync:4").stdout
    assert f"cycle {4 + int((bit + 1) * BIT)}," in out


def test_diagram_has_a_column_a_cycle():
    """In the diagram the flag is up for the 14 cycles from bit to bit; the mark is its rise."""
    lines = cellstep("explain", POLL, "--around", "sync:2").stdout.splitlines()
    flag = next(line for line in lines if line.startswith("sync_equal   "))
    bits = next(line for line in lines if line.startswith("channel bits "))
    rise, fall = flag.index("/"), flag.index("\\")
    assert 14 == fall - rise
    assert "10" == bits[rise] + bits[fall]
    assert rise == lines[-1].index("^")


@pytest.mark.parametrize("around", ["read:3", "byte:2", "cycle:344", "cycle:0"])
def test_other_moments(around):
    """Reads, bytes and cycles can be asked for as well."""
    out = cellstep("explain", POLL, "--around", around).stdout
    kind, number = around.split(":")
    said = {"read": f"read {number} of status", "byte": f"byte {number} completes"}
    assert said.get(kind, f"cycle {number}") in out.splitlines()[0]


def test_third_byte_is_24_channel_bits():
    """Without a match before it, byte 3 completes with channel bit 23 (B4)."""
    out = cellstep("explain", POLL, "--around", "byte:3").stdout
    assert f"byte 3 completes, cycle {4 + int(24 * BIT)}," in out


@pytest.mark.parametrize(
    ("around", "said"),
    [
        ("synk:2", "no such moment; did you mean 'sync'?"),
        ("sync", "should be sync:N"),
        ("sync:0", "a whole number from 1 on"),
        ("sync:-1", "a whole number from 1 on"),
        ("sync:99999", "the scenario has only"),
        ("cycle:99999999", "the scenario has cycles 0 to"),
    ],
)
def test_moment_that_is_none(around, said):
    """A moment that cannot be or never comes is an error that says what there is."""
    done = cellstep("explain", POLL, "--around", around)
    assert 2 == done.returncode
    assert said in done.stderr


def test_drawings(tmp_path):
    """The WaveJSON is strict JSON with a letter a cycle in every lane; the SVG is whole XML."""
    svg, wave = tmp_path / "a.svg", tmp_path / "a.json"
    cellstep("explain", POLL, "--around", "sync:2", "--svg", svg, "--wavejson", wave)
    drawn = json.loads(wave.read_text())
    lanes = [
        lane for part in drawn["signal"] for lane in (part[1:] if type(part) is list else [part])
    ]
    assert 1 == len({len(lane["wave"]) for lane in lanes})
    window = next(lane for lane in lanes if lane["name"] == "window")
    assert "4489" in window["data"]
    assert ET.parse(svg).getroot().tag.endswith("svg")
    assert "4489" in svg.read_text()


def test_drawings_are_told_beside_the_story(tmp_path):
    """What is written is told beside the story, which stays as it is without drawings."""
    svg, wave = tmp_path / "a.svg", tmp_path / "a.json"
    asked = ("explain", POLL, "--around", "sync:2")
    told = cellstep(*asked, "--svg", svg, "--wavejson", wave)
    assert told.stdout == cellstep(*asked).stdout
    assert told.stderr.splitlines() == [
        f"wrote {svg} (timing diagram, SVG)",
        f"wrote {wave} (timing diagram, WaveJSON)",
    ]


def test_drawing_that_cannot_be_written(tmp_path):
    """A place that cannot be written is an error that names the option."""
    done = cellstep("explain", POLL, "--svg", tmp_path / "no" / "a.svg")
    assert 2 == done.returncode
    assert done.stderr.startswith("--svg ")
