"""B11: words from memory leave through the serialiser as write gate and write data."""

from fractions import Fraction

import pytest
from stepping import (
    ENABLE,
    SET,
    WRITE,
    armed,
    control,
    lane,
    moves,
    play,
    profile,
    together,
    transfer,
)

T = 14  # cycles in a written channel bit
TAKEN = 10  # the edge of the first slot: fetches the first word, which is taken at once
OPENS = TAKEN + 2 * T


def write(memory, cycles, slots=None, control_bits=0, length=None, **changes):
    """Play a write transfer of `memory`; one slot a word time, the first at edge `TAKEN`."""
    length = len(memory) if length is None else length
    slots = range(TAKEN, cycles, 15 * T) if slots is None else slots
    events = armed(ENABLE | WRITE | length, 2)
    if control_bits:
        events = together({0: control(SET | control_bits)}, events)
    return play(cycles, events, memory=memory, slots=slots, **changes)


def pulses(seen):
    """Return the cycles in which write_data is 1."""
    return [n for n, cycle in enumerate(seen) if cycle.data]


def pulses_of(word, first=OPENS, every=T):
    """Return where the pulses of a word stand that begins to leave at `first`."""
    return [first + n * every + every // 2 for n in range(16) if word >> (15 - n) & 1]


def test_gate_opens_with_the_first_bit_and_closes_after_the_last():
    """One word, taken on the edge of its slot, leaves two bit times later for 16 bit times."""
    seen = write([0x4489], 400)
    assert lane(seen, "gate") == [(OPENS, 1), (OPENS + 16 * T, 0)]


@pytest.mark.parametrize("word", [0x4489, 0x5224, 0xAAAA, 0x0001, 0x8000])
def test_word_leaves_top_bit_first(word):
    """Each 1 is a pulse of one cycle in the middle of its bit's time."""
    assert pulses(write([word], 400)) == pulses_of(word)


def test_words_follow_without_a_gap():
    """The next word is taken on the edge on which the last bit of the one before ends."""
    words = [0x4489, 0x4489, 0x5554]
    expected = [p for n, w in enumerate(words) for p in pulses_of(w, OPENS + n * 16 * T)]
    seen = write(words, 1000)
    assert pulses(seen) == expected
    assert lane(seen, "gate") == [(OPENS, 1), (OPENS + 3 * 16 * T, 0)]


def test_transfer_is_done_when_the_last_word_is_fetched():
    """The length counts words from memory: done and dma_active low come before the gate closes."""
    seen = write([1, 2, 3], 1000)
    last = TAKEN + 2 * 15 * T
    assert moves(seen) == [(TAKEN + n * 15 * T, n, n + 1, 0) for n in range(3)]
    assert lane(seen, "done") == [(last, 1), (last + 1, 0)]
    assert lane(seen, "dma_active") == [(3, 1), (last, 0)]


def test_full_fifo_leaves_a_slot_unused():
    """With three words waiting and one in the serialiser, no more is fetched until it has left."""
    seen = write(list(range(9)), 300, slots=range(TAKEN, 300))
    assert [n for n, *_ in moves(seen)][:5] == [*range(TAKEN, TAKEN + 4), TAKEN + 16 * T + 1]


def test_empty_fifo_writes_zeros_and_is_counted():
    """While words are still to come, a word time without one is 16 zeros."""
    seen = write([0xAAAA, 0x5555], 1000, slots=(TAKEN, TAKEN + 16 * T + 1))
    late = OPENS + 2 * 16 * T
    assert pulses(seen) == [*pulses_of(0xAAAA), *pulses_of(0x5555, late)]
    assert lane(seen, "gate") == [(OPENS, 1), (late + 16 * T, 0)]
    assert seen[-1].state.transfer.underruns == 1


def test_word_of_the_last_moment_is_taken():
    """A slot on the edge on which a word ends is in time."""
    seen = write([0xAAAA, 0x5555], 1000, slots=(TAKEN, TAKEN + 16 * T))
    assert pulses(seen) == [*pulses_of(0xAAAA), *pulses_of(0x5555, OPENS + 16 * T)]
    assert seen[-1].state.transfer.underruns == 0


@pytest.mark.parametrize(("lost", "kept"), [(0, 16), (3, 13)])
def test_tail_may_be_lost(lost, kept):
    """By policy the gate closes three bit times early, and what it hides is not written."""
    seen = write([0xFFFF, 0xFFFF], 1000, policies={"write_tail_lost_bits": lost})
    end = OPENS + (16 + kept) * T
    assert lane(seen, "gate") == [(OPENS, 1), (end, 0)]
    assert pulses(seen) == list(range(OPENS + T // 2, end, T))


def test_slow_bits_take_twice_as_long():
    """With control.slow_bits a bit lasts 28 cycles, its pulse in the middle."""
    seen = write([0x4489], 700, control_bits=2)
    first = TAKEN + 4 * T
    assert lane(seen, "gate") == [(first, 1), (first + 32 * T, 0)]
    assert pulses(seen) == pulses_of(0x4489, first, 2 * T)


@pytest.mark.parametrize(("select", "cycles"), [(0, 0), (1, 1), (2, 2), (3, 4)])
def test_precompensation_shifts_by_the_pattern(select, cycles):
    """Of 1 0 1 0 0 0 1 the middle 1 is early, towards the close neighbour, the first is late."""
    seen = write([0b1010_0010_0000_0000], 400, control_bits=select << 3)
    middle = OPENS + T // 2
    assert pulses(seen) == [middle + cycles, middle + 2 * T - cycles, middle + 6 * T]


def test_precompensation_steps_are_those_of_the_clock():
    """The steps are 0, 141, 282 and 564 ns: whole cycles of 7.09379 MHz."""
    steps = [round(n * profile().cycle_ns) for n in (0, 1, 2, 4)]
    assert steps == [0, 141, 282, 564]


def test_written_bit_cell():
    """14 cycles are 1 973.557 ns; a revolution of 200 ms takes 12 667.48 bytes of such bits.

    Source: arithmetic from the colour carrier of 4 433 618.75 Hz, times 8/5.
    """
    clock = Fraction(8, 5) * Fraction("4433618.75")
    assert profile().clock_hz == clock
    assert round(float(profile().cycles_per_written_bit / clock * 10**9), 3) == 1973.557
    assert round(float(clock / 5 / profile().cycles_per_written_bit / 8), 2) == 12667.48


def test_profile_can_set_the_written_bit():
    """A profile's write_bit_cycles replaces the whole cycles of a nominal bit."""
    assert pulses(write([0x8001], 400, write_bit_cycles=10)) == [
        TAKEN + 2 * 10 + 5,
        TAKEN + 17 * 10 + 5,
    ]


@pytest.mark.parametrize(
    ("means", "levels"),
    [
        ("requested", [(3, 1), (900, 0)]),
        ("gate_open", [(OPENS, 1), (OPENS + 2 * 16 * T, 0)]),
    ],
)
def test_writing(means, levels):
    """B7: `requested` is up from the acceptance until the stop, `gate_open` with the gate."""
    events = together(armed(ENABLE | WRITE | 2, 2), {900: transfer(0)})
    slots = range(TAKEN, 1000, 15 * T)
    seen = play(1000, events, memory=[1, 2], slots=slots, policies={"writing_means": means})
    assert lane(seen, "writing") == levels


def test_stop_closes_the_gate_at_once():
    """A stop in the middle of a bit ends the write on its edge."""
    events = together(armed(ENABLE | WRITE | 9, 2), {OPENS + 20: transfer(0)})
    seen = play(500, events, memory=[0xFFFF] * 9, slots=(TAKEN, TAKEN + 1))
    assert lane(seen, "gate") == [(OPENS, 1), (OPENS + 20, 0)]
    assert pulses(seen) == [OPENS + T // 2]


def test_acceptance_restarts_the_serialiser():
    """A new transfer accepted while the gate is open closes it, and opens it for its own words."""
    events = together(armed(ENABLE | WRITE | 9, 2), armed(ENABLE | WRITE | 1, 100))
    seen = play(600, events, memory=[0xFFFF] * 9, slots=(TAKEN, 200))
    again = 200 + 2 * T
    assert lane(seen, "gate") == [(OPENS, 1), (101, 0), (again, 1), (again + 16 * T, 0)]
