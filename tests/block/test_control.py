"""B13: control sets and clears its bits, and changes framing; B12: the pulse of a match."""

import itertools

import pytest
from stepping import SET, bits, changes_of, control, lane, play, together

from refmodel.block.control import KEPT, next_control
from refmodel.profile import load_profile

PAL = load_profile("pal_dd")


@pytest.mark.parametrize(
    ("before", "written", "after"),
    [
        (0b00000, SET | 0b00101, 0b00101),
        (0b00101, SET | 0b10010, 0b10111),
        (0b10111, 0b00101, 0b10010),
        (0b11111, 0b00000, 0b11111),
        (0b11111, SET, 0b11111),
        (0b00000, 0xFFFF, KEPT),
        (0b11111, 0x7FFF, 0b00000),
    ],
)
def test_set_and_clear(before, written, after):
    """Bits written as 1 are set or cleared as bit 15 says; the others stay."""
    assert next_control(before, written) == after


@pytest.mark.parametrize(
    ("layout", "there"),
    [
        ({}, KEPT),
        ({"top_bit_framing": "none"}, 0b11011),
        ({"precompensation": None, "slow_bits": None}, 0b00101),
        ({"wait_for_sync": "none", "precompensation": 13}, None),
        ({"precompensation": "none", "wait_for_sync": 4}, 0b00111),
    ],
)
def test_bits_that_are_not_there(layout, there):
    """A write reaches the bits that a profile has; the others have no place on the bus."""
    data = PAL.model_dump(mode="json") | {"control_layout": layout}
    if there is None:
        with pytest.raises(ValueError, match="precompensation 13 is not 2 bits wide"):
            type(PAL).model_validate(data)
        return
    profile = type(PAL).model_validate(data)
    assert profile.control_there == there
    for before, written in itertools.product((0, 0b10101, KEPT), (SET | KEPT, KEPT, SET | 0b110)):
        kept = next_control(before, written, there)
        assert kept & there == next_control(before, written) & there
        assert kept & ~there == before & ~there
    lsb = layout.get("wait_for_sync", 0)
    assert profile.on_the_bus("control", SET | KEPT) >> lsb & 1 == 1


@pytest.mark.parametrize(
    ("layout", "message"),
    [
        ({"set": "none"}, "control cannot lack it"),
        ({"slow_bit": None}, "'slow_bit' is not a field of control"),
        ({"slow_bits": "never"}, "'never' is not a place"),
        ({"slow_bits": "none", "wait_for_sync": 2}, "overlaps"),
    ],
)
def test_layout_that_cannot_be(layout, message):
    """The bit that sets and clears must be there, names must be known, places free."""
    data = PAL.model_dump(mode="json") | {"control_layout": layout}
    with pytest.raises(ValueError, match=message):
        type(PAL).model_validate(data)


def test_control_is_0_after_reset():
    """Reset clears every bit."""
    events = {2: control(0xFFFF), 5: {"reset": 1}, 6: {"reset": 0}}
    seen = play(10, events)
    assert [cycle.state.control for cycle in seen] == [0, 0, *[0b11111] * 3, *[0] * 5]


@pytest.mark.parametrize(("edge", "bit_count"), [(25, 0), (26, 2)])
def test_wait_for_sync_turns_realignment_on(edge, bit_count):
    """The control bit counts as the level input does, from the edge on that writes it."""
    mark = bits("0100_0100_1000_1001", 10)
    seen = play(30, together(mark, bits("11", 4), {edge: control(SET | 1)}))
    assert seen[25].state.bit_count == bit_count


def test_byte_starts_with_a_1():
    """With top_bit_framing zeros between bytes are not counted; inside a byte they are."""
    stream = bits("000_1000_0001_0_1111_0000_00_1", 2)
    seen = play(40, together({0: control(SET | 4)}, stream))
    assert changes_of([cycle.state.data for cycle in seen]) == [(12, 0x81), (21, 0xF0)]
    assert [cycle.state.bit_count for cycle in seen[21:25]] == [0, 0, 0, 1]


def test_framing_counts_zeros_again_when_cleared():
    """Without the bit a byte may start with a 0."""
    events = together({0: control(SET | 4), 5: control(4)}, bits("0000_0000_0000_01", 2))
    seen = play(30, events)
    assert changes_of([cycle.state.data for cycle in seen]) == []
    assert seen[12].state.byte_ready == 1


def test_sync_found_is_one_cycle_long():
    """The pulse comes with the rise of sync_equal, however long the level stays."""
    seen = play(60, bits("0100_0100_1000_1001", 3))
    assert lane(seen, "found") == [(18, 1), (19, 0)]


def test_write_of_sync_word_can_find():
    """A rewrite that makes the comparator rise is a match to sync_found too."""
    seen = play(20, {5: {"write_sync_word": 0xFFFF, "sync_word": 0}})
    assert lane(seen, "found") == [(5, 1), (6, 0)]


def test_sync_found_does_not_follow_the_registered_view():
    """Policy sync_view delays the status bit alone."""
    seen = play(60, bits("0100_0100_1000_1001", 3), policies={"sync_view": "registered"})
    assert lane(seen, "found") == [(18, 1), (19, 0)]
