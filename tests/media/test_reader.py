"""The reader recovers what is on a track, and tells what is damaged."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refmodel.media.crc import crc_bytes
from refmodel.media.mfm import word_bits
from refmodel.media.reader import Sector, read_sectors
from refmodel.media.track import Piece, iso_track, join, random_track, words_track

A1 = b"\xa1\xa1\xa1"


def flipped(bits, *indices):
    """Return channel bits with some of them inverted."""
    bits = bits.copy()
    bits[list(indices)] ^= 1
    return bits


def data_bit(track, name, byte=0):
    """Return the index of the top data bit of a byte of a place."""
    (first,) = (place.first_bit for place in track.places if place.name == name)
    return first + 16 * byte + 1


LAYOUTS = st.fixed_dictionaries(
    {
        "size": st.sampled_from([128, 256, 512, 1024]),
        "cylinder": st.integers(0, 255),
        "head": st.integers(0, 1),
        "gap3": st.integers(1, 60),
        "lead_in": st.one_of(st.just("long"), st.integers(0, 146)),
        "first_sector": st.integers(0, 200),
        "length_bytes": st.integers(6200, 6300),
    }
)


@given(LAYOUTS, st.data())
def test_every_sector_is_read(layout, data):
    """Whatever the layout, and wherever the revolution begins, all that was written is read."""
    pitch = 62 + layout["size"] + layout["gap3"]
    count = data.draw(st.integers(1, (6200 - 146) // pitch))
    one = st.binary(min_size=layout["size"], max_size=layout["size"])
    contents = data.draw(st.lists(one, min_size=count, max_size=count))
    turn = data.draw(st.integers(0, 16 * 6200))
    track = iso_track(count, data=contents, **layout)
    lead_in = 146 if layout["lead_in"] == "long" else layout["lead_in"]
    length = len(track)
    expected = [
        Sector(
            cylinder=layout["cylinder"],
            head=layout["head"],
            number=layout["first_sector"] + n,
            size=layout["size"],
            data=contents[n],
            id_crc_ok=True,
            data_crc_ok=True,
            first_bit=(16 * (lead_in + n * pitch + 12) - turn) % length,
        )
        for n in range(count)
    ]
    read = read_sectors(np.roll(track.bits, -turn), ring=True)
    assert read == sorted(expected, key=lambda sector: sector.first_bit)


def test_the_published_layout_is_read_from_raw_words():
    """Raw words worked out by hand read as cylinder 0, head 0, sector 1, size 512.

    4489, 5554, AAAA and the CRC CA6F of this ID field: check values 1a and 1b.
    """
    words = [0x4489, 0x4489, 0x4489, 0x5554, 0xAAAA, 0xAAAA, 0xAAA9, 0x2AA4, 0x5244, 0x9455]
    track = words_track([0xAAAA] * 4 + words + [0x9254] * 4)
    expected = Sector(0, 0, 1, 512, b"", True, False, 64)
    assert read_sectors(track.bits) == [expected]


def test_a_sector_over_the_end_is_whole_only_on_a_ring():
    """Without the ring the bits end in the data field; with it the sector is read to its end."""
    track = iso_track(1, length_bytes=1000)
    (expected,) = read_sectors(track.bits)
    bits = np.roll(track.bits, -16 * 400)
    (whole,) = read_sectors(bits, ring=True)
    (cut,) = read_sectors(bits)
    before_the_end = 400 - (146 + 60)
    assert (whole.data, whole.data_crc_ok) == (expected.data, True)
    assert (cut.data, cut.data_crc_ok) == (expected.data[:before_the_end], False)
    assert whole.first_bit == cut.first_bit == 16 * (146 + 12 + 600)


def test_an_id_field_cut_short_is_no_sector():
    """Bits that end inside the ID field give no sector; one more byte gives one."""
    track = iso_track(1)
    end = data_bit(track, "gap 2 of sector 1") - 1
    assert read_sectors(track.bits[: end - 1]) == []
    assert [sector.id_crc_ok for sector in read_sectors(track.bits[:end])] == [True]


@pytest.mark.parametrize("byte", [0, 255, 511])
def test_a_data_error_is_told(byte):
    """One wrong data bit breaks the data CRC of that sector alone."""
    track = iso_track()
    read = read_sectors(flipped(track.bits, data_bit(track, "sector 4 data", byte)))
    assert [sector.data_crc_ok for sector in read] == [n != 4 for n in range(1, 10)]
    assert all(sector.id_crc_ok for sector in read)
    assert read[3].data[byte] == read_sectors(track.bits)[3].data[byte] ^ 0x80


def test_an_id_error_is_told():
    """One wrong bit of the ID field breaks its CRC; the data field is still read."""
    track = iso_track()
    read = read_sectors(flipped(track.bits, data_bit(track, "sector 4 ID")))
    assert [sector.id_crc_ok for sector in read] == [n != 4 for n in range(1, 10)]
    assert (read[3].cylinder, read[3].data_crc_ok) == (0x80, True)


@pytest.mark.parametrize("part", ["ID CRC", "data CRC"])
def test_a_crc_error_is_told(part):
    """A wrong bit in the CRC itself counts as an error of its field."""
    track = iso_track()
    read = read_sectors(flipped(track.bits, data_bit(track, f"sector 9 {part}", 1)))
    assert (read[8].id_crc_ok, read[8].data_crc_ok) == (part != "ID CRC", part != "data CRC")


@pytest.mark.parametrize("n", [0, 1, 2])
def test_fewer_than_three_marks_begin_no_field(n):
    """A field whose marks are not three in a row is passed over."""
    track = iso_track()
    clock = data_bit(track, "sector 4 data mark", n) - 1 + 10
    read = read_sectors(flipped(track.bits, clock))
    assert [len(sector.data) for sector in read] == [512 if n != 4 else 0 for n in range(1, 10)]
    assert [sector.data_crc_ok for sector in read] == [n != 4 for n in range(1, 10)]


def test_a_fourth_mark_is_no_field_of_its_own():
    """Of four marks in a row the last three begin the field."""
    fields = A1 + b"\xa1\xfe\x01\x00\x05\x00" + crc_bytes(A1 + b"\xfe\x01\x00\x05\x00")
    track = join([Piece("gap", b"\x4e" * 9), Piece("ID", fields, 4), Piece("end", bytes(9))])
    assert read_sectors(track.bits) == [Sector(1, 0, 5, 128, b"", True, False, 16 * 10)]


def test_a_deleted_data_mark_begins_a_data_field_too():
    """Data after the mark F8 is read as after FB; after another byte it is none.

    CRC 7B09 of F8 and 512 zeros: check values 1b.
    """

    def read(mark):
        fields = [
            Piece("ID", A1 + bytes.fromhex("FE 00 00 01 02 CA 6F"), 3),
            Piece("gap", b"\x4e" * 22 + bytes(12)),
            Piece("data", A1 + mark + bytes(512) + b"\x7b\x09" + b"\x4e" * 4, 3),
        ]
        (sector,) = read_sectors(join(fields).bits)
        return sector.data, sector.data_crc_ok

    assert read(b"\xf8") == (bytes(512), True)
    assert read(b"\xfa") == (b"", False)


def test_a_data_field_belongs_to_the_id_right_before_it():
    """An ID field followed by another one has no data."""
    identity = A1 + b"\xfe\x00\x00\x01\x00"
    data = A1 + b"\xfb" + bytes(128)
    track = join(
        [
            Piece("first", identity + crc_bytes(identity) + bytes(8), 3),
            Piece("second", identity + crc_bytes(identity) + bytes(8), 3),
            Piece("data", data + crc_bytes(data) + bytes(8), 3),
            Piece("stray data", data + crc_bytes(data) + bytes(8), 3),
        ]
    )
    read = [(len(sector.data), sector.data_crc_ok) for sector in read_sectors(track.bits)]
    assert read == [(0, False), (128, True)]


def test_a_data_field_shorter_than_its_size_is_wrong():
    """Data that ends early is not a whole field, though a right CRC happens to end it."""
    identity, data = A1 + b"\xfe\x00\x00\x01\x01", A1 + b"\xfb" + bytes(128)
    fields = [
        Piece("ID", identity + crc_bytes(identity) + bytes(8), 3),
        Piece("data", data + crc_bytes(data), 3),
    ]
    (sector,) = read_sectors(join(fields).bits)
    assert (sector.size, len(sector.data), sector.data_crc_ok) == (256, 130, False)


@pytest.mark.parametrize(("code", "size"), [(7, 16384), (8, 128), (0xFF, 16384)])
def test_three_bits_of_the_size_code_count(code, size):
    """A size code above 7 is cut to three bits (common practice, no source)."""
    identity = A1 + bytes((0xFE, 0, 0, 1, code))
    track = join([Piece("ID", identity + crc_bytes(identity), 3)])
    assert [sector.size for sector in read_sectors(track.bits)] == [size]


@pytest.mark.parametrize(
    "bits",
    [np.empty(0, np.uint8), word_bits([0x4489] * 3), random_track(5000, 1, marks=20).bits],
    ids=["nothing", "marks alone", "noise"],
)
def test_no_fields_give_no_sectors(bits):
    """Bits without a whole ID field hold no sector."""
    assert read_sectors(bits) == []
    assert read_sectors(bits, ring=True) == []
