"""The check code of ID and data fields: x^16 + x^12 + x^5 + 1, preset to ones.

The generator is that of CCITT V.41; fields are shifted in top bit first, marks included, nothing
is reflected or inverted, and the catalogue name is CRC-16/IBM-3740.
"""

from __future__ import annotations

from binascii import crc_hqx


def crc16(data: bytes, initial: int = 0xFFFF) -> int:
    """Return the CRC of `data`, from `initial` on; 0 for a field together with its CRC.

    The standard library's `binascii.crc_hqx` has this polynomial and takes any preset.
    """
    return crc_hqx(data, initial)


def crc_bytes(data: bytes) -> bytes:
    """Return the two bytes that follow `data` on the disk, high byte first (from memory)."""
    return crc16(data).to_bytes(2, "big")
