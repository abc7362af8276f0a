"""B15: both enables gate a transfer, which stands still while one of them is off."""

import pytest
from stepping import ENABLE, SET, WRITE, armed, bits, control, lane, moves, play, together, words

GATES = ("master_enable", "channel_enable")
T = 14


def off(first, end, gate="master_enable"):
    """Return the gate off from edge `first` on and on again at `end`."""
    return {first: {gate: 0}, end: {gate: 1}}


@pytest.mark.parametrize("gate", GATES)
@pytest.mark.parametrize("means", ["running", "enabled"])
def test_gate_shows_in_dma_active(gate, means):
    """Either gate takes dma_active down at its edge and lets it up again."""
    events = together(armed(ENABLE | 2, 2), off(20, 30, gate))
    seen = play(50, events, slots=(), policies={"dma_active_means": means})
    first = 3 if means == "running" else 2
    assert lane(seen, "dma_active") == [(first, 1), (20, 0), (30, 1)]


@pytest.mark.parametrize("gate", GATES)
def test_slot_is_not_used_while_a_gate_is_off(gate):
    """The FIFO is kept and stored when both are on again; the edge of the gate counts."""
    events = together(armed(ENABLE | 1), words(0xAAAA, first=2), off(30, 40, gate))
    assert moves(play(60, events, slots=(30, 35, 39, 40))) == [(40, 0, 0xAAAA, 1)]


def test_part_of_a_word_is_lost():
    """Bits before and during the gate do not count towards the next word."""
    events = together(
        armed(ENABLE | 1), bits("1111_1111", 2), off(10, 15), bits("11111", 10), words(5, first=15)
    )
    assert moves(play(60, events, slots=(40,))) == [(40, 0, 5, 1)]


def test_read_waits_for_a_match_again():
    """With wait_for_sync set the words go on behind the next match."""
    events = together(
        {0: control(SET | 1)}, armed(ENABLE | 2, 1), words(0x4489, 1, first=4), off(37, 38),
        words(2, 0x4489, 3, first=40),
    )  # fmt: skip
    assert [word for _, _, word, _ in moves(play(200, events, slots=(36, 100)))] == [1, 3]


def test_write_stops_in_the_middle_of_a_bit_and_goes_on_with_the_next_word():
    """The gate closes at the edge; the word under way is lost, those in the FIFO are written."""
    events = together(armed(ENABLE | WRITE | 3, 2), off(100, 200))
    seen = play(900, events, memory=[0xFFFF, 0x8000, 0x8000], slots=(10, 20, 150, 250))
    assert [n for n, *_ in moves(seen)] == [10, 20, 250]
    again = 200 + 2 * T
    assert lane(seen, "gate") == [(10 + 2 * T, 1), (100, 0), (again, 1), (again + 32 * T, 0)]
    late = [n for n, cycle in enumerate(seen) if cycle.data and n >= 100]
    assert late == [again + T // 2, again + 16 * T + T // 2]


def test_register_is_written_while_a_gate_is_off():
    """Arming, acceptance and stop do not need the gates."""
    events = together({0: {"channel_enable": 0}}, armed(ENABLE | 2, 2), {20: {"channel_enable": 1}})
    assert lane(play(50, events, slots=()), "dma_active") == [(20, 1)]
