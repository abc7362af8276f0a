"""byte_ready (B5): set by a completed byte, cleared by a read of status."""

import pytest
from block_drive import feed, make_block, read

from refmodel.block.inputs import Inputs


def test_flag_rises_with_its_byte():
    """The flag is up in the very cycle in which data takes the byte."""
    assert feed(make_block(), "10100001") == [0x0000] * 7 + [0x80A1]


def test_flag_waits_for_a_read():
    """Unread, the flag stays up for as long as nobody reads."""
    block = make_block()
    feed(block, "10100001")
    assert {block.step(Inputs()) for _ in range(1000)} == {0x80A1}


def test_read_returns_the_word_before_its_clear():
    """The read that clears the flag sees it; the next one, an edge later, does not."""
    block = make_block()
    feed(block, "10100001")
    assert [read(block), read(block)] == [0x80A1, 0x00A1]
    assert block.status == 0x00A1


def test_flag_falls_in_the_cycle_of_the_read():
    """The clear shows in the cycle that begins with the read's edge."""
    block = make_block({"data": 0x3C, "byte_ready": 1})
    assert [block.step(Inputs(read_status=r)) for r in (0, 1, 0)] == [0x803C, 0x003C, 0x003C]


def test_unread_byte_is_overwritten():
    """The next byte replaces an unread one; the flag stays up and nothing tells of the loss."""
    block = make_block()
    feed(block, "10100001")
    assert feed(block, "00111100") == [0x80A1] * 7 + [0x803C]
    assert [read(block), read(block)] == [0x803C, 0x003C]


@pytest.mark.parametrize("accesses", [{}, {"write_sync_word": 0xFFFF, "sync_word": 0x1234}])
def test_nothing_but_a_read_clears(accesses):
    """Levels and writes leave the flag alone."""
    block = make_block({"byte_ready": 1})
    block.step(Inputs(dma_active=1, writing=1, wait_for_sync=1, **accesses))
    assert block.status == 0xE000


def test_read_between_bytes_changes_no_framing():
    """Reads in a byte leave count and window alone: the byte is what it would have been."""
    block = make_block()
    for bit in "10100001":
        assert read(block) == 0x0000
        feed(block, bit)
    assert read(block) == 0x80A1


def test_polling_host_sees_each_byte_once():
    """A host that reads every 5 cycles finds each byte of a stream once, in order."""
    block, message = make_block(), b"\x4e\x00\xff\x44\x89"
    bits = "".join(f"{byte:08b}" for byte in message)
    got = []
    for cycle in range(14 * len(bits) + 5):
        word, at = block.status, divmod(cycle, 14)
        reading = cycle % 5 == 4
        arrives = at[1] == 0 and at[0] < len(bits)
        bit = int(bits[at[0]]) if arrives else 0
        block.step(Inputs(bit_strobe=int(arrives), bit=bit, read_status=int(reading)))
        got += [word & 0xFF] if reading and word >> 15 else []
    assert bytes(got) == message
