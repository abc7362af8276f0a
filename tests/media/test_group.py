"""The group code: its groups, and how a framing by the top bit falls into step with them."""

import crccheck.crc
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refmodel.ground.errors import UserError
from refmodel.media.group import (
    CODE,
    DATA_MARK,
    GROUPS,
    HEADER_MARK,
    STEP,
    from_groups,
    group_track,
    to_groups,
)


def framed(bits):
    """Return the bytes a framing by the top bit makes of channel bits, bit by bit."""
    found, byte = [], ""
    for bit in bits:
        if byte or bit:
            byte += str(int(bit))
        if len(byte) == 8:
            found.append(int(byte, 2))
            byte = ""
    return found


def test_81_groups_have_no_three_zeros_in_a_row():
    """Counted by a recurrence: t(n) = t(n-1) + t(n-2) + t(n-3) of strings without three zeros."""
    counts = [1, 2, 4]  # strings of 0, 1, 2 bits
    while len(counts) < 8:
        counts.append(sum(counts[-3:]))
    assert len(GROUPS) == counts[7] == 81
    assert len(set(CODE)) == 64
    assert not {*HEADER_MARK, *DATA_MARK, 0xFF} & set(CODE)


@given(st.binary(min_size=1, max_size=40))
def test_data_comes_back(data):
    """Any bytes, as groups side by side: no three zeros in a row, and back to what they were."""
    groups = to_groups(data)
    assert "000" not in "".join(f"{group:08b}" for group in groups)
    assert from_groups(groups, len(data)) == data


@pytest.mark.parametrize("phase", range(10))
def test_five_steps_bring_the_framing_into_step(phase):
    """Wherever a reader begins in a run, the sixth byte at the latest begins with a step."""
    bits = np.concatenate((np.tile(STEP, 6)[phase:], np.unpackbits(np.array([0xB5], np.uint8))))
    assert framed(bits)[-1] == 0xB5
    assert framed(bits)[-2] == 0xFF


def test_a_track_reads_back_from_any_bit():
    """Framed by its top bits, a track gives each header and data field with its check code."""
    track = group_track(sectors=3, size=64, bits=4000, cylinder=17, head=1, seed=4)
    read = framed(np.tile(track.bits, 2)[7:])
    marks = [n for n in range(len(read)) if tuple(read[n : n + 3]) == DATA_MARK]
    heads = [n for n in range(len(read)) if tuple(read[n : n + 3]) == HEADER_MARK]
    assert len(marks) >= 5
    for at in marks[:3]:
        field = from_groups(read[at + 3 : at + 3 + 88], 66)
        assert crccheck.crc.Crc16Ibm3740.calc(field[:64]).to_bytes(2, "big") == field[64:]
    headers = {from_groups(read[at + 3 : at + 3 + 7], 5)[:3] for at in heads[:3]}
    assert headers == {bytes((17, 1, n)) for n in range(3)}


def test_groups_without_data_are_not_read():
    """A group outside the code is told apart, not taken for some value."""
    assert from_groups([0xFF], 0) is None


def test_a_track_that_is_too_short_is_refused():
    """What the sectors need is reported: 2 runs of 60, 6 + 7 + 344 groups of 8, 10 times over."""
    with pytest.raises(UserError, match="10 sectors of 256 need 29760 channel bits, 29660 more"):
        group_track(bits=100)
