"""The check code against values eight other implementations agree on, and against crccheck."""

import crccheck.crc
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refmodel.media.crc import crc16, crc_bytes

A1 = b"\xa1\xa1\xa1"
DATA = A1 + b"\xfb"
KNOWN = [
    (b"123456789", 0x29B1),
    (A1[:1], 0x443B),
    (A1[:2], 0x968B),
    (A1, 0xCDB4),
    (A1 + b"\xfe", 0xB230),
    (A1 + b"\xfb", 0xE295),
    (A1 + b"\xf8", 0xD2F6),
    (A1 + bytes.fromhex("FE 00 00 01 02"), 0xCA6F),
    (A1 + bytes.fromhex("FE 00 01 01 02"), 0xFD5F),
    (A1 + bytes.fromhex("FE 4F 01 09 02"), 0xCE84),
    (A1 + bytes.fromhex("FE 00 00 01 01"), 0xFA0C),
    (b"\xc2\xc2\xc2", 0x0D33),
    (b"\xc2\xc2\xc2\xfc", 0xCC3E),
    (b"\xfe", 0xEF21),
    (bytes.fromhex("FE 00 00 01 00"), 0xD2C3),
    (DATA + bytes(256), 0xE122),
    (DATA + bytes(512), 0xDA6E),
    (DATA + b"\x4e" * 512, 0x8284),
    (DATA + b"\xe5" * 512, 0xC40B),
    (DATA + b"\xf6" * 512, 0x2BF6),
    (DATA + bytes(range(256)) * 2, 0x9AB4),
    (A1 + b"\xf8" + bytes(512), 0x7B09),
]


@pytest.mark.parametrize(("message", "crc"), KNOWN, ids=lambda value: repr(value)[:40])
def test_known_values(message, crc):
    """Each field has the CRC the outside implementations give (check values 1b)."""
    assert f"{crc16(message):04X}" == f"{crc:04X}"


@pytest.mark.parametrize(("message", "crc"), KNOWN, ids=lambda value: repr(value)[:40])
def test_known_values_follow_high_byte_first(message, crc):
    """The stored CRC begins with its high byte (from memory) and leaves the residue 0."""
    assert crc_bytes(message) == bytes((crc >> 8, crc & 0xFF))
    assert crc16(message + crc_bytes(message)) == 0


@given(st.binary(max_size=600))
def test_crccheck_agrees(message):
    """The catalogue's CRC-16/IBM-3740, as crccheck computes it, is this code."""
    assert crc16(message) == crccheck.crc.Crc16Ibm3740.calc(message)


@given(st.binary(max_size=40), st.binary(max_size=40))
def test_a_field_may_be_checked_in_parts(first, second):
    """The CRC of the first part is the preset of the second."""
    assert crc16(second, crc16(first)) == crc16(first + second)


@pytest.mark.parametrize(
    ("other", "value"),
    [("Crc16Kermit", 0x2189), ("Crc16Xmodem", 0x31C3), ("Crc16AugCcitt", 0xE5CC)],
)
def test_other_codes_of_similar_name_differ(other, value):
    """Codes catalogued under similar names give other values for the same message."""
    assert getattr(crccheck.crc, other).calc(b"123456789") == value
    assert crc16(b"123456789") != value
