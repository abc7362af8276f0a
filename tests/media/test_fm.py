"""FM and the 8-inch layout, against tables of clock bits and an outside check code."""

import crccheck.crc
import numpy as np
import pytest

from refmodel.ground.errors import UserError
from refmodel.media.fm import encode, fm_track, mark_word
from refmodel.media.mfm import decode, find, word_bits

# Clock bits of the marks: C7, and D7 in the index mark (from memory, ISO 5654-2 and data sheets).
MARKS = {0xFE: 0xC7, 0xFB: 0xC7, 0xF8: 0xC7, 0xFC: 0xD7}


def parts(bits):
    """Return the clock bits and the data bits of sixteen channel bits as two bytes."""
    return tuple(int(np.packbits(bits[n::2])[0]) for n in (0, 1))


@pytest.mark.parametrize(("byte", "clocks"), MARKS.items())
def test_a_mark_has_its_clock_bits(byte, clocks):
    """Taken apart, a mark is its byte and the clock bits of the table."""
    assert parts(word_bits(mark_word(byte))) == (clocks, byte)


def test_every_other_byte_has_all_its_clocks():
    """A clock stands before each data bit, so no byte but a mark lacks one."""
    for byte in range(256):
        assert parts(encode(bytes([byte]))) == (0xFF, byte)


def test_no_data_looks_like_a_mark():
    """Over all pairs of bytes, at any phase, no mark's word appears."""
    pairs = np.array([(a, b) for a in range(256) for b in range(256)], np.uint8).ravel()
    bits = encode(pairs)
    assert [len(find(bits, mark_word(byte))) for byte in MARKS] == [0, 0, 0, 0]


def test_the_layout_closes():
    """26 sectors of 188 bytes behind 73 are 4 961 of the 5 208 bytes of a revolution: 247 are left.

    Byte counts from memory, common practice. 5 208 bytes of 32 us are 166.66 ms, a turn at 360 a
    minute (arithmetic: 60 s / 360 = 166.67 ms).
    """
    track = fm_track()
    first = {place.name: place.first_bit // 16 for place in track.places}
    assert first["sector 1 ID sync"] == 40 + 6 + 1 + 26
    assert first["sector 2 ID sync"] - first["sector 1 ID sync"] == 6 + 7 + 11 + 6 + 131 + 27
    assert first["track gap"] == 73 + 26 * 188 == 5208 - 247
    assert len(track) * 2e-6 == pytest.approx(60 / 360, rel=1e-4)


def test_check_codes_are_those_of_crccheck():
    """The code begins with the mark: FE 00 00 01 00 has D2C3 (check values 1b)."""
    track = fm_track()
    at = {place.name: place.first_bit for place in track.places}
    whole = decode(track.bits)
    first = at["sector 1 ID mark"] // 16
    assert whole[first : first + 7] == bytes.fromhex("FE 00 00 01 00 D2 C3")
    first = at["sector 26 data mark"] // 16
    field = whole[first : first + 131]
    assert crccheck.crc.Crc16Ibm3740.calc(field[:129]).to_bytes(2, "big") == field[129:]


def test_a_layout_that_does_not_fit_is_refused():
    """One byte less than the sectors need is reported, with what would fit."""
    with pytest.raises(UserError, match="4961 bytes, 1 more than the track's 4960; gap3 26 or"):
        fm_track(length_bytes=4960)
