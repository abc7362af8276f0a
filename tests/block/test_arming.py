"""B9: a transfer starts when armed, and stops at once."""

import pytest
from stepping import (
    ENABLE,
    WRITE,
    armed,
    bits,
    control,
    lane,
    moves,
    play,
    together,
    transfer,
    words,
)


def test_one_write_does_not_start():
    """A single write with enable set starts nothing, whatever follows."""
    assert lane(play(100, {5: transfer(ENABLE | 4)}), "dma_active") == []


def test_two_writes_start_on_the_second():
    """The second write in a row is accepted at its edge."""
    assert lane(play(100, armed(ENABLE | 4, 5)), "dma_active") == [(6, 1)]


@pytest.mark.parametrize(("needed", "start"), [(1, 5), (3, 7), (4, 8)])
def test_profile_sets_how_many_writes_arm(needed, start):
    """A profile can ask for one write, or for more than two."""
    events = {n: transfer(ENABLE | 1) for n in range(5, 5 + needed)}
    assert lane(play(50, events, arming_writes=needed), "dma_active") == [(start, 1)]


def test_other_accesses_in_between_do_not_disarm():
    """A read of status and writes of other registers may stand between the two writes."""
    events = {
        5: transfer(ENABLE | 4),
        6: {"read_status": 1},
        7: control(0x8001),
        8: {"write_sync_word": 0xFFFF, "sync_word": 1},
        9: transfer(ENABLE | 4),
    }
    assert lane(play(50, events), "dma_active") == [(9, 1)]


def test_last_value_counts():
    """Direction and length are those of the write that is accepted."""
    seen = play(50, {5: transfer(ENABLE | 9), 6: transfer(ENABLE | WRITE | 2)})
    assert (seen[6].state.transfer.write, seen[6].state.transfer.length) == (1, 2)


def test_stop_disarms():
    """A write without enable between the two makes the second the first of a new pair."""
    events = {5: transfer(ENABLE | 4), 6: transfer(4), 7: transfer(ENABLE | 4)}
    assert lane(play(50, events), "dma_active") == []


def test_stop_takes_effect_at_once():
    """A write without enable ends a running transfer at its edge; both levels fall."""
    seen = play(50, together(armed(ENABLE | WRITE | 4, 5), {20: transfer(0)}), slots=())
    assert lane(seen, "dma_active") == [(6, 1), (20, 0)]
    assert lane(seen, "writing") == [(6, 1), (20, 0)]
    assert lane(seen, "done") == []


def test_stop_does_not_take_its_write_bit():
    """A write without enable accepts nothing, its direction neither."""
    seen = play(50, together(armed(ENABLE | 4, 5), {20: transfer(WRITE | 4)}), slots=())
    assert lane(seen, "writing") == []
    assert seen[20].state.transfer.length == 0


def test_stop_empties_the_fifo():
    """Words that wait when a transfer stops are not stored by the next."""
    events = together(
        armed(ENABLE | 4), words(0x1111, 0x2222, first=2), {40: transfer(0)}, armed(ENABLE | 1, 42)
    )
    assert moves(play(100, together(events, words(0x3333, first=50)), slots=(45, 70))) == [
        (70, 0, 0x3333, 1)
    ]


def test_acceptance_counts_from_nothing_again():
    """After an acceptance a third write only counts as the first of a new pair."""
    seen = play(50, {n: transfer(ENABLE | n) for n in (5, 6, 7, 8)})
    assert [seen[n].state.transfer.length for n in (5, 6, 7, 8)] == [0, 6, 6, 8]


def test_acceptance_while_running_restarts():
    """A new acceptance empties the FIFO and begins a new word."""
    before = together(armed(ENABLE | 4), words(0x1111, 0x2222, first=2), bits("1", 34))
    after = together(armed(ENABLE | 4, 34), words(0x3333, first=36))
    seen = play(80, together(before, after), slots=(24, 60, 70))
    assert moves(seen) == [(24, 0, 0x1111, 1), (60, 1, 0x3333, 1)]


def test_slot_on_the_accepting_edge_is_used():
    """The write lands before the slot of the same edge, which already fetches a word."""
    seen = play(20, armed(ENABLE | WRITE | 2, 5), memory=(0xABCD, 0x1234), slots=(5, 6))
    assert moves(seen) == [(6, 0, 0xABCD, 0)]


def test_slot_on_the_stopping_edge_is_not_used():
    """A stop lands before the slot of the same edge."""
    events = together(armed(ENABLE | WRITE | 2, 5), {8: transfer(0)})
    assert moves(play(20, events, memory=(1, 2), slots=(8, 9))) == []
