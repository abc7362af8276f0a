"""Track builders against published layouts, the MFM rule, and the text for every place."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refmodel.ground.errors import UserError
from refmodel.media.mfm import MARK_A1, MARK_C2, bits_to_words, decode, find
from refmodel.media.seeded import random_bytes
from refmodel.media.track import (
    Piece,
    Place,
    Track,
    image_track,
    iso_track,
    join,
    random_track,
    words_track,
)

BYTE_US = 32  # 16 channel bits of 2 us
EIGHT_INCH_BYTES = 10416


def starts(track):
    """Return the first byte of every place, by name."""
    return {place.name: place.first_bit // 16 for place in track.places}


def bytes_at(track, name, count):
    """Return the first bytes of a place."""
    first = 16 * starts(track)[name]
    return decode(track.bits[first : first + 16 * count])


@pytest.mark.parametrize(
    ("sectors", "size", "gap3", "sector_total", "last_gap"),
    [(8, 1024, 115, 1202, 654), (15, 512, 83, 658, 400), (26, 256, 53, 372, 598)],
)
def test_published_sums(sectors, size, gap3, sector_total, last_gap):
    """Sector total and last gap are those of an 8-inch drive manual, p. 36.

    The manual counts the byte in which the write gate goes off apart from gap 3.
    """
    track = iso_track(sectors, size, gap3=gap3 + 1, length_bytes=EIGHT_INCH_BYTES)
    at = starts(track)
    pitch = np.diff([at[f"sector {n} ID sync"] for n in range(1, sectors + 1)])
    assert at["sector 1 ID sync"] == 146
    assert pitch.tolist() == [sector_total] * (sectors - 1)
    assert EIGHT_INCH_BYTES - at["track gap"] == last_gap
    assert len(track) == 16 * EIGHT_INCH_BYTES


@pytest.mark.parametrize(
    ("layout", "pitch", "used", "last_gap"),
    [
        ({}, 658, 6068, 182),
        ({"sectors": 18, "gap3": 101, "length_bytes": 12500}, 675, 12296, 204),
    ],
)
def test_sums_of_90_mm_layouts(layout, pitch, used, last_gap):
    """9 and 18 sectors of 512 have the sums derived from the published fields (check values 1d)."""
    track = iso_track(**layout)
    at = starts(track)
    assert at["sector 2 ID sync"] - at["sector 1 ID sync"] == pitch
    assert (at["track gap"], len(track) // 16 - at["track gap"]) == (used, last_gap)


def test_the_standard_layout_just_fits_at_three_percent_over_speed():
    """At +3 % a revolution has 6 068.0 bytes, the sum of 9 sectors of 512 to the byte."""
    assert starts(iso_track(length_bytes=6068))["sector 9 data CRC"] == 6068 - 84 - 2
    with pytest.raises(UserError, match="1 more than the track's 6067"):
        iso_track(length_bytes=6067)


def test_times_at_32_us_a_byte():
    """Index and field times are those derived from the layout in check values 1d."""
    at = {name: byte * BYTE_US for name, byte in starts(iso_track()).items()}
    short = starts(iso_track(lead_in=32))
    assert at["sector 1 ID sync"] == 4672
    assert at["sector 1 ID mark"] == 5056
    assert at["sector 1 ID mark"] + 3 * BYTE_US == 5152  # FE
    assert short["sector 1 ID mark"] * BYTE_US == 1408
    assert at["sector 1 data mark"] - at["sector 1 ID mark"] == 1408
    assert at["sector 1 data CRC"] - at["sector 1 data"] == 16384
    assert at["sector 9 ID mark"] - at["sector 8 ID mark"] == 21056


def test_every_byte_of_a_track():
    """A track of one sector is, byte for byte, the published layout."""
    contents = b"\xe5" * 512
    track = iso_track(1, length_bytes=1000, data=[contents])
    expected = (
        b"\x4e" * 80 + bytes(12) + b"\xc2\xc2\xc2\xfc" + b"\x4e" * 50
        + bytes(12) + b"\xa1\xa1\xa1\xfe" + bytes((0, 0, 1, 2)) + b"\xca\x6f" + b"\x4e" * 22
        + bytes(12) + b"\xa1\xa1\xa1\xfb" + contents + b"\xc4\x0b" + b"\x4e" * (84 + 196)
    )  # fmt: skip
    assert decode(track.bits) == expected


def test_marks_stand_in_threes_and_nowhere_else():
    """Each field begins with three 4489; three 5224 begin the index mark alone."""
    track = iso_track(data=[b"\xe5" * 512] * 9)
    at = starts(track)
    firsts = [at[f"sector {n} {part} mark"] for n in range(1, 10) for part in ("ID", "data")]
    ends = [16 * (first + n) + 15 for first in firsts for n in range(3)]
    index_ends = [16 * (at["index mark"] + n) + 15 for n in range(3)]
    assert find(track.bits, MARK_A1).tolist() == ends
    assert [end for end in find(track.bits, MARK_C2).tolist() if end % 16 == 15] == index_ends


def wrong_clocks(track):
    """Return the places of the clock bits that break the rule, all round the ring."""
    clock, data = track.bits[0::2], track.bits[1::2]
    due = (data == 0) & (np.roll(data, 1) == 0)
    return [track.place(2 * cell) for cell in np.flatnonzero(clock != due)]


@given(st.integers(0, 1 << 40), st.integers(1, 9), st.integers(0, 90), st.integers(0, 160))
def test_only_marks_break_the_rule(seed, sectors, gap3, lead_in):
    """From byte to byte, piece to piece and end to start, only the marks lack a clock."""
    track = iso_track(sectors, 512, gap3=gap3, lead_in=lead_in, data=seed)
    expected = [
        f"sector {n} {part} mark, bit 10 of byte {byte}"
        for n in range(1, sectors + 1)
        for part in ("ID", "data")
        for byte in range(3)
    ]
    assert wrong_clocks(track) == expected


def test_the_index_mark_breaks_the_rule_three_times():
    """The long lead-in adds three bytes C2 that lack the clock before bit 4."""
    expected = [f"index mark, bit 8 of byte {byte}" for byte in range(3)]
    assert wrong_clocks(iso_track())[:3] == expected


@pytest.mark.parametrize("last", [0x00, 0x01])
def test_the_end_of_the_ring_decides_its_first_clock(last):
    """The last data bit of the revolution stands before the first clock bit."""
    track = join([Piece("one", b"\x00"), Piece("two", bytes([last]))])
    assert track.bits[0] == 1 - last
    assert wrong_clocks(track) == []


def test_identity_and_numbers():
    """Cylinder, head, first number and size code are those in the ID fields."""
    track = iso_track(5, 1024, cylinder=79, head=1, gap3=116, first_sector=0xC1)
    identities = [bytes_at(track, f"sector {n} ID", 4) for n in range(0xC1, 0xC6)]
    assert identities == [bytes((79, 1, n, 3)) for n in range(0xC1, 0xC6)]


def test_data_is_seeded():
    """One seed gives one track; another seed, cylinder or head gives other data."""
    variants = [{}, {"data": 1}, {"cylinder": 1}, {"head": 1}]
    contents = {bytes_at(iso_track(**variant), "sector 1 data", 512) for variant in variants}
    assert len(contents) == 4
    assert iso_track(data=0).bits.tolist() == iso_track().bits.tolist()
    assert bytes_at(iso_track(data=7), "sector 1 data", 512) == random_bytes(9 * 512, 7, 0, 0)[:512]


def test_places_by_name():
    """Every channel bit has a place: its field, the byte in it and the bit in that."""
    track = iso_track()
    sector_3 = 146 + 2 * 658
    assert track.place(0) == "index gap, bit 0 of byte 0"
    assert track.place(16 * 95) == "index mark, bit 0 of byte 3"
    assert track.place(16 * (sector_3 + 60 + 17) + 5) == "sector 3 data, bit 5 of byte 17"
    assert track.place(16 * (sector_3 - 80) + 15) == "gap 3 after sector 2, bit 15 of byte 4"
    assert track.place(99_999) == "track gap, bit 15 of byte 181"


def test_places_of_later_revolutions():
    """A place is the same in every revolution, and before the first."""
    track = iso_track()
    for index in (0, 12_345, 99_999):
        assert track.place(index + 7 * len(track)) == track.place(index)
        assert track.place(index - len(track)) == track.place(index)


def test_a_place_may_run_on_over_the_end():
    """The last place is counted on through the start of the ring."""
    track = Track(np.zeros(100, np.uint8), (Place("one", 20), Place("two", 90)))
    assert track.place(20) == "one, bit 0 of byte 0"
    assert track.place(19) == "two, bit 13 of byte 1"


def test_empty_pieces_are_no_places():
    """A gap of no bytes is not named."""
    track = iso_track(lead_in=0, gap3=0, length_bytes=9 * 574)
    assert starts(track)["sector 1 ID sync"] == 0
    assert not [name for name in starts(track) if "gap 3" in name or "index" in name]
    assert track.place(-1) == "sector 9 data CRC, bit 15 of byte 1"


def test_words_track():
    """Raw words pass as they are, and their places are counted in words."""
    track = words_track([0x4489, 0x0000, 0xFFFF])
    assert bits_to_words(track.bits).tolist() == [0x4489, 0x0000, 0xFFFF]
    assert track.place(35) == "raw words, bit 3 of word 2"


def test_random_track():
    """Random channel bits are seeded, of any length, and as often 1 as 0."""
    track = random_track(100_003, 5)
    assert len(track) == 100_003
    assert track.bits.tolist() == random_track(100_003, 5).bits.tolist()
    assert track.bits.tolist() != random_track(100_003, 6).bits.tolist()
    assert abs(int(track.bits.sum()) - 50_001) < 5 * 158  # five sigma of a fair coin
    assert track.place(100_003 + 17) == "random bits, bit 17"


@given(st.integers(1, 3000), st.data(), st.integers(0, 0xFFFF), st.integers(0, 99))
def test_random_track_with_marks(bits, data, mark, seed):
    """Each equal part of the track holds its mark; without marks the bits are the same else."""
    marks = data.draw(st.integers(0, bits // 16))
    track = random_track(bits, seed, marks=marks, mark=mark)
    ends = find(track.bits, mark)
    for n in range(marks):
        first, after = n * (bits // marks), (n + 1) * (bits // marks)
        assert ((ends >= first + 15) & (ends < after)).any()
    changed = np.count_nonzero(track.bits != random_track(bits, seed).bits)
    assert len(track) == bits
    assert changed <= 16 * marks


def test_marks_stand_at_every_phase():
    """Marks written over random bits are not bound to bytes."""
    ends = find(random_track(100_000, 1, marks=400).bits, MARK_A1)
    assert {int(end) % 16 for end in ends} == set(range(16))


def test_image_track():
    """A raw image of a track's sectors is cut up in order."""
    image = bytes(n % 251 for n in range(5 * 1024))
    track = image_track(image, 5, 1024, cylinder=2, gap3=116)
    contents = [bytes_at(track, f"sector {n} data", 1024) for n in range(1, 6)]
    assert b"".join(contents) == image
    assert bytes_at(track, "sector 5 ID", 4) == bytes((2, 0, 5, 3))


def test_a_track_does_not_change():
    """Neither the bits nor the fields of a track can be assigned to."""
    track = iso_track()
    with pytest.raises(ValueError, match="read-only"):
        track.bits[0] = 0
    with pytest.raises(AttributeError):
        track.bits = track.bits


@pytest.mark.parametrize(
    ("layout", "message"),
    [
        (
            {"sectors": 10},
            "10 sectors of 512 with gap3 84 need 6726 bytes, 476 more than the track's 6250;"
            " gap3 36 or less would fit",
        ),
        (
            {"sectors": 11},
            "11 sectors of 512 with gap3 84 need 7384 bytes, 1134 more than the track's 6250;"
            " 9 such sectors would fit",
        ),
        (
            {"lead_in": 6250},
            "9 sectors of 512 with gap3 84 need 12172 bytes, 5922 more than the track's 6250;"
            " 0 such sectors would fit",
        ),
        ({"sectors": 0}, "sectors: 0 should be at least 1"),
        ({"sectors": 257}, "sectors: 257 should be at most 256"),
        ({"cylinder": 256}, "cylinder: 256 should be at most 255"),
        ({"head": -1}, "head: -1 should be at least 0"),
        ({"gap3": -1}, "gap3: -1 should be at least 0"),
        ({"length_bytes": 0}, "length_bytes: 0 should be at least 1"),
        ({"first_sector": 248}, "first_sector: 248 should be at most 247"),
        ({"lead_in": -1}, "lead_in: -1 should be at least 0"),
        ({"lead_in": "short"}, "lead_in: 'short' is neither \"long\" nor a number of bytes"),
        ({"data": -1}, "seed: -1 should be at least 0"),
        ({"data": [bytes(512)] * 8}, "data: 8 contents given for 9 sectors"),
        (
            {"data": [bytes(512)] * 8 + [bytes(511)]},
            "data: content 8 has 511 bytes; a sector has 512",
        ),
        (
            {"size": 500},
            "size: 500 is not a sector size; known: 128, 256, 512, 1024, 2048, 4096, 8192, 16384",
        ),
    ],
)
def test_a_layout_that_cannot_be_is_refused(layout, message):
    """The error says by how much or from what a value is off, and what would be right."""
    with pytest.raises(UserError) as caught:
        iso_track(**layout)
    assert str(caught.value) == message


@given(st.integers(1, 30), st.sampled_from([128, 256, 512, 1024]), st.integers(0, 120))
def test_the_advice_is_right(sectors, size, gap3):
    """What the error says would fit does fit, and one more does not."""
    try:
        iso_track(sectors, size, gap3=gap3)
    except UserError as error:
        advice = str(error).split("; ")[1].split()
        key, value = (
            ("gap3", int(advice[1])) if advice[0] == "gap3" else ("sectors", int(advice[0]))
        )
        layout = {"sectors": sectors, "size": size, "gap3": gap3}
        iso_track(**(layout | {key: value}))
        with pytest.raises(UserError, match="more than the track's"):
            iso_track(**(layout | {key: value + 1}))


def test_an_image_of_the_wrong_length_is_refused():
    """The error shows the length that is right for the layout."""
    with pytest.raises(UserError, match="has 4607 bytes; 9 sectors of 512 are 4608"):
        image_track(bytes(4607))


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((0, 1), "bits: 0 should be at least 1"),
        ((31, 1, 2), "marks: 2 should be at most 1"),
        ((100, 1, -1), "marks: -1 should be at least 0"),
        ((100, -1), "seed: -1 should be at least 0"),
        ((100, 1, 1, 0x10000), "word 0x10000 is not in 0 .. 0xffff"),
    ],
)
def test_a_random_track_that_cannot_be_is_refused(arguments, message):
    """The error shows the value and its bound."""
    with pytest.raises(UserError, match=f"^{message}$"):
        random_track(*arguments)


def test_an_empty_track_is_refused():
    """A ring has at least one channel bit."""
    for make in (lambda: words_track([]), lambda: join([])):
        with pytest.raises(UserError, match="a track needs at least one channel bit"):
            make()
