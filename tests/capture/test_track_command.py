"""The command `cellstep track`, as a user meets it."""

import numpy as np
import pytest
from command import cellstep
from crccheck.crc import Crc16Ibm3740
from flux_cases import captured, plain_track, write_text
from formed import formed

from refmodel.capture.track_form import TrackForm
from refmodel.media.flux_defects import Defects, NoFlux, Weak
from refmodel.media.flux_list import FluxList
from refmodel.media.survey import survey
from refmodel.media.track import iso_track

WIDE = {"COLUMNS": "160"}


def told(*arguments):
    """Return what the command tells as JSON."""
    done = cellstep("track", *arguments, "--json", env=WIDE)
    assert done.returncode == 0, done.stderr
    return formed(TrackForm, done.stdout)


def test_a_captured_track_is_told_with_its_published_check_codes(tmp_path):
    """IDs, sectors, gaps and check codes of a capture in ticks of 24 MHz.

    Check codes: CA6F for the first ID and C40B for 512 bytes E5, computed with eight libraries.
    """
    path = write_text(tmp_path / "a.txt", captured(plain_track()), 125 / 3, ["rate 24000000"])
    parts = told(path)["parts"]
    fields = {part["name"]: part for part in parts}
    assert fields["sector 1 ID"]["id"] == "00000102"
    assert fields["sector 1 ID"]["crc_stored"] == "CA6F"
    assert {fields[f"sector {n} data"]["crc_stored"] for n in range(1, 10)} == {"C40B"}
    assert all(part["crc_ok"] for part in parts if "crc_ok" in part)
    assert [p["content"] for p in parts if "content" in p][:3] == [
        "80 x 4E, 12 x 00",
        "50 x 4E, 12 x 00",
        "22 x 4E, 12 x 00",
    ]


def test_check_codes_are_those_of_another_library():
    """Every check code found is what crccheck computes of the field's bytes."""
    parts = survey(iso_track(sectors=5, size=1024, gap3=60, data=7).bits)
    fields = [part for part in parts if getattr(part, "crc_stored", None) is not None]
    assert len(fields) == 10
    for field in fields:
        whole = b"\xa1" * 3 + bytes([field.mark]) + field.body
        assert Crc16Ibm3740.calc(whole) == field.crc_stored == field.crc_right


def test_a_field_over_the_index_is_whole():
    """A sector that the index cuts in two is still read, and the gap begins behind it."""
    track = iso_track(data=3)
    bits = track.bits
    turned = bits[5000:].tolist() + bits[:5000].tolist()
    parts = survey(np.array(turned, np.uint8))
    data = [p for p in parts if p.name.endswith(" data")]
    assert sorted(p.name for p in data) == [f"sector {n} data" for n in range(1, 10)]
    assert all(p.crc_ok for p in data)


def test_a_wrong_check_code_is_told_with_the_right_one(tmp_path):
    """The table says which code stands there and which would be right."""
    track = iso_track(data=3)
    bits = track.bits.copy()
    bits[9001] ^= 1
    flux = captured(type(track)(bits, track.places))
    done = cellstep("track", write_text(tmp_path / "a.txt", flux), env=WIDE)
    assert done.stdout.count("wrong, should be") == 1
    assert "weak regions: none" in done.stdout


def test_weak_and_silent_regions_are_told_with_counts(tmp_path):
    """Of each weak bit it says in how many revolutions it read 1."""
    defects = Defects(
        weak=[Weak(first_bit=40_000, bits=64)],
        no_flux=[NoFlux(first_bit=60_000, bits=100, noise_ns=None)],
    )
    data = told(write_text(tmp_path / "a.txt", captured(plain_track(), defects, 8)))
    weak = [w for w in data["weak_bits"] if w["bit"] < 50_000]
    assert weak
    assert all(0 < w["ones"] < w["of"] or w["of"] < 8 for w in weak)
    assert [s["revolution"] for s in data["silent"]] == list(range(1, 9))
    assert all(190e3 < s["length_ns"] < 215e3 for s in data["silent"])


def test_a_silence_across_the_index_is_told_on_both_sides(tmp_path):
    """What begins in one revolution and ends in the next belongs to both."""
    flux = captured(plain_track())
    index = flux.index_ns[1]
    away = (flux.ns < index - 3e6) | (flux.ns > index + 2e6)
    silent = told(write_text(tmp_path / "a.txt", FluxList(flux.ns[away], flux.index_ns)))["silent"]
    assert [(1, 3e6), (2, 2e6)] == [(s["revolution"], round(s["length_ns"], -5)) for s in silent]
    assert 0 == silent[1]["bit"] == silent[1]["at_ns"]


def test_one_revolution_is_singular(tmp_path):
    """Counts read as a person would say them, and what is nothing has no minus."""
    flux = captured(plain_track(), revolutions=1)
    done = cellstep("track", write_text(tmp_path / "a.txt", flux), env=WIDE)
    assert ", 1 revolution\n" in done.stdout
    assert "cells +0.00 %" in done.stdout


def test_cells_of_another_length_are_told(tmp_path):
    """A scenario's density region is found, at its place and by its percent."""
    path = tmp_path / "long.yaml"
    path.write_text(
        "name: long\ntrack: {layout: iso, gap3: 40}\nrevolutions: 2\n"
        "density: [{first_bit: 20000, bits: 10000, percent: 4}]\n"
    )
    regions = told(path)["cell_regions"]
    assert len(regions) == 1
    assert abs(regions[0]["first_bit"] - 20_000) <= 500
    assert abs(regions[0]["end_bit"] - 30_000) <= 500
    assert regions[0]["percent"] == pytest.approx(4, abs=0.25)


def test_an_image_is_a_track(tmp_path):
    """A file of sectors is laid out as a track and told."""
    (tmp_path / "a.img").write_bytes(b"\xe5" * 512 * 9)
    names = [part["name"] for part in told(tmp_path / "a.img")["parts"]]
    assert names.count("sector 9 data") == 1


def test_the_picture_is_written_whole(tmp_path):
    """--out draws the track as SVG or PNG, and leaves nothing else."""
    path = write_text(tmp_path / "a.txt", captured(plain_track()))
    for name, head in (("t.svg", b"<?xml"), ("t.png", b"\x89PNG")):
        done = cellstep("track", path, "--out", tmp_path / name, env=WIDE)
        assert done.returncode == 0, done.stderr
        assert (tmp_path / name).read_bytes().startswith(head)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.txt", "t.png", "t.svg"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["none.txt"], "none.txt: cannot be read: No such file"),
        (["a.xyz"], "'.xyz' is not a kind of track file"),
        (["no_such_scenario"], "no such file or shipped scenario"),
        (["status/iso_sectors", "--sync", "0x12345"], "--sync 0x12345: is not a word of 16 bits"),
        (
            ["status/iso_sectors", "--out", "a.jpg"],
            "--out a.jpg: no picture; give a name that ends in .svg or .png",
        ),
        (["status/iso_sectors", "--rate", "0"], "--rate: '0' is not a rate in ticks per second"),
    ],
)
def test_bad_input_is_one_message(arguments, message, tmp_path):
    """Bad input ends with 2 and a message."""
    done = cellstep("track", *arguments, cwd=tmp_path)
    assert done.returncode == 2
    assert message in done.stderr


def test_the_old_option_for_json_names_the_new_one(tmp_path):
    """`--format` is `--json` as in every other command."""
    done = cellstep("track", tmp_path / "a.txt", "--format", "json")
    assert done.returncode == 2
    assert "--format: is now called --json" in done.stderr
