"""Sectors with something odd about them, and where sectors lie: read back by the reader."""

from pathlib import Path

import pytest

from refmodel.ground.errors import InputError
from refmodel.ground.yamlfile import parse
from refmodel.media.reader import read_sectors
from refmodel.media.sectors import order
from refmodel.media.survey import DELETED, survey
from refmodel.world.load import load_scenario
from refmodel.world.scenario import Scenario


def track_of(text, folder=None):
    """Return the track of a scenario with this layout."""
    document = parse(f"{{name: odd, track: {text}}}", Path("odd.yaml"))
    return Scenario.of(document).track.build(0, folder or Path())


def sector(odd):
    """Return the second sector of an ISO track of four, with what is odd about it."""
    return read_sectors(odd_track(odd).bits)[1]


@pytest.mark.parametrize(
    ("odd", "what"),
    [
        ("cylinder: 77", {"cylinder": 77, "id_crc_ok": True, "data_crc_ok": True}),
        ("head: 9", {"head": 9, "id_crc_ok": True}),
        ("number: 200", {"number": 200, "id_crc_ok": True}),
        ("size_code: 6", {"size": 8192, "id_crc_ok": True, "data_crc_ok": False}),
        ("id_check: wrong", {"id_crc_ok": False, "data_crc_ok": True}),
        ("data_check: wrong", {"id_crc_ok": True, "data_crc_ok": False}),
        ("data: false", {"id_crc_ok": True, "data_crc_ok": False, "data": b""}),
        ("mark: deleted", {"id_crc_ok": True, "data_crc_ok": True}),
    ],
)
def test_what_is_odd_is_read(odd, what):
    """An odd sector shows what is said of it, and its neighbours are as ever."""
    found = sector(odd)
    assert {name: getattr(found, name) for name in what} == what
    others = [s for n, s in enumerate(read_sectors(odd_track(odd).bits)) if n != 1]
    assert all(s.id_crc_ok and s.data_crc_ok for s in others)


def odd_track(odd):
    """Return the track of `sector`."""
    entry = f"{{place: 2, {odd}}}"
    return track_of(f"{{layout: iso, sectors: 4, size: 256, bytes: 2000, odd: [{entry}]}}")


def test_a_deleted_mark_is_f8():
    """The field is one of deleted data: F8 stands behind the marks (check values 1a)."""
    parts = survey(odd_track("mark: deleted").bits)
    assert [getattr(part, "kind", None) for part in parts].count(DELETED) == 1


# Worked out by hand: every second place, then the first free one.
@pytest.mark.parametrize(
    ("interleave", "skew", "places"),
    [
        (1, 0, [1, 2, 3, 4, 5, 6, 7, 8, 9]),
        (2, 0, [1, 6, 2, 7, 3, 8, 4, 9, 5]),
        (3, 0, [1, 4, 7, 2, 5, 8, 3, 6, 9]),
        (1, 2, [8, 9, 1, 2, 3, 4, 5, 6, 7]),
    ],
)
def test_interleave_and_skew(interleave, skew, places):
    """Sectors lie in the places that were worked out by hand, and each is there once."""
    assert [n + 1 for n in order(9, interleave, skew)] == places
    layout = f"{{layout: iso, interleave: {interleave}, skew: {skew}}}"
    assert [s.number for s in read_sectors(track_of(layout).bits)] == places


def test_an_image_goes_where_its_numbers_lie(tmp_path):
    """The file is in the order of the numbers, whatever the places, lead-in and gaps."""
    image = b"".join(bytes([n]) * 512 for n in range(9))
    (tmp_path / "disk.img").write_bytes(image)
    text = (
        "{layout: image, file: disk.img, interleave: 2, lead_in: 32, gap3: 80, gap2: 20,"
        " numbers: [65, 66, 67, 68, 69, 70, 71, 72, 73]}"
    )
    found = read_sectors(track_of(text, tmp_path).bits)
    assert [s.number for s in found] == [65, 70, 66, 71, 67, 72, 68, 73, 69]
    assert [s.data for s in found] == [bytes([s.number - 65]) * 512 for s in found]
    assert found[0].first_bit == 16 * (32 + 12)


@pytest.mark.parametrize(
    ("layout", "message"),
    [
        ("odd: [{place: 1, size_code: 9}]", "odd.0.size_code: '9' has no meaning"),
        ("odd: [{place: 1, mark: A1}]", "odd.0.mark: 'A1' is not one of 'normal' or 'deleted'"),
        ("odd: [{place: 10}]", "track: odd: place 10 is beyond the track's 9 sectors"),
        ("odd: [{place: 1}, {place: 1}]", "odd: place 1 is there twice; say all of it in one"),
        ("odd: [{place: 1, data: false, mark: deleted}]", "data: false leaves out the data field"),
        ("gap2: -1", "gap2"),
        ("interleave: 0", "interleave"),
        ("gap3: 200", "sectors of 512 with gap3 200 need 7112 bytes"),
    ],
)
def test_what_cannot_be_is_refused(layout, message, tmp_path):
    """A sector that cannot be is reported with its place in the file and what would do."""
    path = tmp_path / "odd.yaml"
    path.write_text(f"name: odd\ntrack: {{layout: iso, {layout}}}\n")
    with pytest.raises(InputError) as error:
        load_scenario(path)
    assert f"{path}:2:" in str(error.value)
    assert message in str(error.value)
