"""B10: channel bits become words, wait in the FIFO, and go to memory in slots."""

import pytest
from stepping import ENABLE, armed, bits, control, lane, moves, play, together, transfer, words

from refmodel.block.transfer import counted

SYNC = 0x4489
WAITING = {0: control(0x8001)}
FEW = tuple(range(40, 400, 20))


def stored(seen):
    """Return the words a run stored."""
    return [word for _, _, word, _ in moves(seen)]


def test_without_waiting_the_accepting_edge_counts():
    """The first bit of the first word may arrive on the edge that accepts."""
    seen = play(40, together(armed(ENABLE | 1, 3), words(0x8001, first=4)), slots=(30,))
    assert moves(seen) == [(30, 0, 0x8001, 1)]


def test_matching_word_is_not_stored_and_a_second_is():
    """With wait_for_sync the first word is what follows the first match, a sync word or not."""
    events = together(
        WAITING, armed(ENABLE | 3, 1), words(0x1234, SYNC, SYNC, 0x5554, 0x2AAA, first=3)
    )
    assert stored(play(400, events, slots=FEW)) == [SYNC, 0x5554, 0x2AAA]


def test_match_at_any_phase_starts():
    """The match counts at each bit, not only where a word would end."""
    events = together(WAITING, armed(ENABLE | 1, 1), bits("10110", 3), words(SYNC, 0xBEEF, first=8))
    assert stored(play(400, events, slots=FEW)) == [0xBEEF]


def test_wait_for_sync_may_come_from_outside():
    """The level input counts as the control bit does."""
    events = together(
        {0: {"wait_for_sync": 1}}, armed(ENABLE | 1, 1), words(1, SYNC, 0xBEEF, first=3)
    )
    assert stored(play(400, events, slots=FEW)) == [0xBEEF]


@pytest.mark.parametrize(("realign", "second"), [("always", 0xBEEF), ("never", 0x4DF7)])
def test_later_match_restarts_the_word(realign, second):
    """With realignment on, a match inside a word makes the next word begin behind it."""
    events = together(armed(ENABLE | 2, 1), bits("11111", 3), words(SYNC, 0xBEEF, 0, first=8))
    seen = play(400, events, slots=FEW, policies={"realign": realign})
    assert stored(seen) == [0xFA24, second]


def test_slot_moves_the_oldest_word_one_at_a_time():
    """Each slot stores one word, in the order of the disk, at the next place."""
    events = together(armed(ENABLE | 3), words(1, 2, 3, first=2))
    seen = play(100, events, slots=(60, 61, 62, 63))
    assert moves(seen) == [(60, 0, 1, 1), (61, 1, 2, 1), (62, 2, 3, 1)]


def test_word_completing_on_a_slots_edge_waits_for_the_next():
    """The slot comes before the bit of its edge."""
    events = together(armed(ENABLE | 1), words(0xAAAA, first=2))
    assert moves(play(60, events, slots=(17, 18, 19))) == [(18, 0, 0xAAAA, 1)]


@pytest.mark.parametrize(("depth", "kept", "lost"), [(3, [1, 2, 3], 2), (4, [1, 2, 3, 4], 1)])
def test_word_that_finds_the_fifo_full_is_lost_and_counted(depth, kept, lost):
    """The FIFO keeps the oldest words; a word more is lost."""
    events = together(armed(ENABLE | 9), words(1, 2, 3, 4, 5, first=2))
    seen = play(200, events, slots=range(100, 200), fifo_words=depth)
    assert (stored(seen), seen[-1].state.transfer.lost_words) == (kept, lost)


def test_diagnostic_counters_stop_at_the_top():
    """A counter of 16 bits does not start again at 0."""
    assert [counted(0), counted(0xFFFE), counted(0xFFFF)] == [1, 0xFFFF, 0xFFFF]


def test_slot_on_the_edge_of_a_word_makes_room_for_it():
    """A full FIFO whose slot falls on the edge of the fourth word loses nothing."""
    events = together(armed(ENABLE | 9), words(1, 2, 3, 4, first=2))
    seen = play(120, events, slots=(65, 100, 101, 102))
    assert (stored(seen), seen[-1].state.transfer.lost_words) == ([1, 2, 3, 4], 0)


def test_length_counts_stored_words():
    """The transfer runs until the last word is in memory, not until it has been read."""
    seen = play(100, together(armed(ENABLE | 2), words(1, 2, 3, first=2)), slots=(70, 80, 90))
    assert lane(seen, "dma_active") == [(1, 1), (80, 0)]
    assert lane(seen, "done") == [(80, 1), (81, 0)]
    assert stored(seen) == [1, 2]


def test_word_on_the_last_slots_edge_is_not_pushed():
    """The transfer has ended when the bit of that edge arrives."""
    seen = play(40, together(armed(ENABLE | 1), words(1, 2, first=2)), slots=(33,))
    assert (seen[33].done, seen[33].state.transfer.fifo.used) == (1, 0)


def test_memory_place_runs_on_until_reset():
    """A second transfer stores behind the first; after a reset it stores at 0."""

    def once(first):
        return together(armed(ENABLE | 1, first), words(first, first=first + 2))

    events = together(once(0), once(100), {150: {"reset": 1}, 151: {"reset": 0}}, once(200))
    seen = play(300, events, slots=range(0, 300, 7))
    assert [(place, word) for _, place, word, _ in moves(seen)] == [(0, 0), (1, 100), (0, 200)]


@pytest.mark.parametrize(("policy", "pulse"), [("done_at_once", [(6, 1), (7, 0)]), ("ignored", [])])
def test_length_zero(policy, pulse):
    """A length of zero never runs; by policy it is done in the cycle of its acceptance."""
    seen = play(40, armed(ENABLE, 5), slots=range(40), policies={"zero_length": policy})
    assert (lane(seen, "done"), lane(seen, "dma_active")) == (pulse, [])


def test_length_zero_ends_a_transfer():
    """Accepted while another transfer runs, it ends that one."""
    seen = play(40, together(armed(ENABLE | 5, 5), armed(ENABLE, 20)), slots=())
    assert lane(seen, "dma_active") == [(6, 1), (21, 0)]


@pytest.mark.parametrize(
    ("means", "levels"), [("running", [(6, 1), (40, 0)]), ("enabled", [(5, 1), (50, 0)])]
)
def test_dma_active(means, levels):
    """B6: `running` is up while words are to be moved, `enabled` as long as enable is written."""
    events = together(armed(ENABLE | 1, 5), words(1, first=8), {50: transfer(0)})
    seen = play(80, events, slots=(40,), policies={"dma_active_means": means})
    assert lane(seen, "dma_active") == levels


def test_level_from_outside_is_shown_as_well():
    """B6: a core whose transfer is outside shows the input's level."""
    events = together(armed(ENABLE | 1, 5), {20: {"dma_active": 1}, 25: transfer(0)})
    events |= {30: {"dma_active": 0}}
    assert lane(play(50, events, slots=()), "dma_active") == [(6, 1), (30, 0)]
