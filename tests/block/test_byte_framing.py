"""Framing (B2, B4): channel bits become bytes, and a match can restart the count."""

import pytest
from block_drive import MARK, ends, feed, make_block, read
from hypothesis import given
from hypothesis import strategies as st

from refmodel.block.inputs import Inputs

ZERO = f"{0xAAAA:016b}"  # data 00 in MFM (check value 1a, computed)
FE_AFTER_MARK = f"{0x5554:016b}"  # check value 1a, computed
STREAMS = st.lists(st.sampled_from((MARK, MARK[:9], "0", "1", "0100"))).map("".join)


def delivered(block, bits, **levels):
    """Feed bits and read status after each; return (index of the bit, byte) of each new byte."""
    found = []
    for n, bit in enumerate(bits):
        feed(block, bit, **levels)
        word = read(block, **levels)
        if word >> 15:
            found.append((n, word & 0xFF))
    return found


def cut(bits, starts):
    """Cut text into eights anew from each start; return (index of the last bit, byte)."""
    pieces = zip(starts, [*starts[1:], len(bits)], strict=True)
    return [
        (at + 7, int(bits[at : at + 8], 2))
        for start, end in pieces
        for at in range(start, end - 7, 8)
    ]


@given(bits=STREAMS)
def test_bytes_without_realignment_are_eights(bits):
    """With realignment off, bytes are the stream cut into eights; marks make no difference."""
    assert delivered(make_block(realign="never"), bits, wait_for_sync=1) == cut(bits, [0])


@given(bits=STREAMS)
def test_bytes_with_realignment_start_after_each_match(bits):
    """With realignment on, the stream is cut anew behind each mark that text search finds."""
    starts = [0, *(end + 1 for end in ends(MARK, bits))]
    assert delivered(make_block(realign="always"), bits) == cut(bits, starts)


@given(bits=STREAMS, waiting=st.booleans())
def test_waiting_decides_by_default(bits, waiting):
    """By default wait_for_sync switches between the two."""
    plain = make_block(realign="always" if waiting else "never")
    assert delivered(make_block(), bits, wait_for_sync=int(waiting)) == delivered(plain, bits)


@given(bits=STREAMS, change=st.integers(0, 60))
def test_waiting_counts_at_the_matching_edge(bits, change):
    """Only matches at whose own edge wait_for_sync is 1 realign, whatever it was before."""
    block, found = make_block(), []
    for n, bit in enumerate(bits):
        feed(block, bit, wait_for_sync=int(n >= change))
        word = read(block, wait_for_sync=int(n < change))
        found += [(n, word & 0xFF)] if word >> 15 else []
    starts = [0, *(end + 1 for end in ends(MARK, bits) if end >= change)]
    assert found == cut(bits, starts)


@pytest.mark.parametrize("count", range(8))
def test_marks_frame_what_follows(count):
    """Whatever the phase, two more marks and FE follow the first mark as whole bytes."""
    block = make_block({"bit_count": count}, realign="always")
    feed(block, ZERO * 3 + MARK)
    read(block)
    bits = MARK + MARK + FE_AFTER_MARK
    assert [byte for _, byte in delivered(block, bits)] == [0x44, 0x89, 0x44, 0x89, 0x55, 0x54]


@pytest.mark.parametrize("count", range(8))
def test_first_byte_after_reset_takes_what_is_missing(count):
    """The count goes on from its reset value; the byte holds older window bits, too."""
    block = make_block({"bit_count": count, "window": 0xFFFF})
    words = feed(block, "0" * (8 - count))
    assert [word >> 15 for word in words] == [0] * (7 - count) + [1]
    assert words[-1] & 0xFF == 0xFF << (8 - count) & 0xFF


def test_matching_byte_is_delivered_and_count_restarts():
    """A byte that completes on the matching bit is delivered, the next takes eight bits more."""
    block = make_block({"window": 0x2244, "bit_count": 7}, realign="always")
    assert feed(block, "1") == [0x9089]
    assert feed(block, "00111100") == [0x8089] * 7 + [0x803C]


@pytest.mark.parametrize("realign", ["when_waiting", "always"])
def test_write_between_bits_does_not_realign(realign):
    """A write that makes the level rise leaves the count alone: the byte ends as it would have."""
    block = make_block({"window": 0x8912, "bit_count": 5}, realign=realign)
    write = Inputs(write_sync_word=0xFFFF, sync_word=0x8912, wait_for_sync=1)
    assert block.step(write) == 0x1000
    assert feed(block, "111", wait_for_sync=1) == [0x0000, 0x0000, 0x8097]


@pytest.mark.parametrize("every", [1, 2, 14])
def test_only_strobed_bits_count(every):
    """The bit input means nothing without its strobe: bytes take eight strobes at any spacing."""
    block = make_block()
    for _ in range(3 * every):
        assert block.step(Inputs(bit=1)) == 0
    words = feed(block, "10100001", every)
    assert words == [0] * (7 * every) + [0x80A1] * every


def test_data_stays_until_the_next_byte():
    """A read takes the flag and leaves data; seven more bits leave it, the eighth replaces it."""
    block = make_block()
    feed(block, "10100001")
    assert [read(block), read(block), read(block)] == [0x80A1, 0x00A1, 0x00A1]
    assert feed(block, "00111100") == [0x00A1] * 7 + [0x803C]
