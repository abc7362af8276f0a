"""The slot schedule: where slots fall, what a schedule must give, what a profile may say."""

from fractions import Fraction

import pytest
from stepping import ENABLE, armed, play, profile, together

from refmodel.block.slots import SlotRate, Slots
from refmodel.ground.errors import InputError
from refmodel.ground.yamlfile import parse
from refmodel.profile import Profile

HEAD = "name: test\nclock_hz: 7093790\nchannel_bit_ns: 2000\n"


def schedule(line_cycles, *at):
    """Return a slot schedule."""
    return Slots(line_cycles=line_cycles, at=at)


def test_slots_stand_at_their_places_in_each_line():
    """Lines follow each other from edge 0 on."""
    slots = schedule(10, 2, 7)
    assert [n for n in range(25) if slots.granted(n)] == [2, 7, 12, 17, 22]
    assert [slots.next_edge(n) for n in (0, 2, 3, 7, 8, 19)] == [2, 2, 7, 7, 12, 22]


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        (
            "slots: {line_cycles: 454, at: [40, 460]}",
            "4:1: slots: slot 460 is outside the line of 454 cycles; positions are 0..453",
        ),
        (
            "slots: {at: [454]}",
            "4:1: slots: slot 454 is outside the line of 454 cycles; positions are 0..453",
        ),
        ("slots: {at: []}", "4:9: slots.at: a transfer needs at least one slot a line"),
        (
            "slots: {at: [40, 40]}",
            "4:9: slots.at: 40, 40: positions are 0 or more, each higher than the one before",
        ),
        (
            "slots: {at: [-1, 40]}",
            "4:9: slots.at: -1, 40: positions are 0 or more, each higher than the one before",
        ),
        (
            "write_bit_cycles: 8",
            "4:1: write_bit_cycles: 8 cycles leave no room for a pulse 4 cycles early or late"
            " (B11); 9 or more do",
        ),
        ("fifo_words: 0", "4:1: fifo_words: '0' should be greater than or equal to 1"),
        ("arming_writes: 0", "4:1: arming_writes: '0' should be greater than or equal to 1"),
        (
            "policies: {write_tail_lost_bits: 2}",
            "4:12: policies.write_tail_lost_bits: '2' is not one of '0' or '3'",
        ),
    ],
)
def test_setting_that_contradicts_itself_is_refused(keys, message, tmp_path):
    """What cannot be is an error at its line, with what would be right."""
    path = tmp_path / "p.yaml"
    with pytest.raises(InputError) as error:
        parse(f"{HEAD}{keys}\n", path).validate(Profile)
    assert str(error.value) == f"{path}:{message}"


@pytest.mark.parametrize("written", ["3", "'3'"])
def test_number_policy_may_be_written_as_a_number(written, tmp_path):
    """A policy whose choices are numbers takes them with and without quotes."""
    text = f"{HEAD}policies: {{write_tail_lost_bits: {written}}}\n"
    loaded = parse(text, tmp_path / "p.yaml").validate(Profile)
    assert loaded.policies.write_tail_lost_bits == "3"


def test_default_schedule_keeps_up():
    """3 slots in 454 cycles move more than the 2.0 words that a double-density disk delivers."""
    rate = profile().slot_rate
    assert (rate.given, round(float(rate.needed), 2), rate.most_waiting) == (3, 2.0, 1)
    assert rate.problem == ""


def test_schedule_that_just_keeps_up():
    """A slot a word, and a FIFO of as many words as wait at most, are enough."""
    rate = SlotRate(schedule(32, 0, 1), Fraction(1), 2)
    assert (rate.given, rate.needed, rate.most_waiting, rate.problem) == (2, 2, 2, "")


def test_too_few_slots_are_told_with_the_rate_needed():
    """A schedule that falls behind is diagnosed with what the disk needs."""
    rate = profile(slots={"line_cycles": 454, "at": [40]}).slot_rate
    assert rate.problem == (
        "slots: 1 in 454 cycles cannot keep up with the disk, which needs 2.00 words in that time;"
        " give 2 slots, or words are lost (B10) or run short (B11)"
    )


def test_slots_too_close_together_are_told():
    """Slots that are enough on average, but leave a gap in which the FIFO overflows, are told."""
    rate = profile(slots={"line_cycles": 1362, "at": list(range(9))}, fifo_words=5).slot_rate
    assert rate.problem == (
        "slots: between the slots of a line up to 6 words wait, more than the FIFO's 5;"
        " spread the slots, or words are lost (B10)"
    )


@pytest.mark.share(5)
@pytest.mark.parametrize(
    ("line", "at", "most"),
    [
        (16, (3,), 1),
        (32, (0, 1), 2),
        (64, (0, 1, 2, 3), 4),
        (60, (0, 1, 2, 30), 3),
        (100, (5, 6, 7, 8, 9, 10, 90), 5),
    ],
)
def test_most_waiting_is_what_the_fifo_must_hold(line, at, most):
    """With 16 cycles a word: no phase loses words in a FIFO that deep, one does in one less."""
    assert SlotRate(schedule(line, *at), Fraction(1), 3).most_waiting == most
    assert worst(line, at, most) == 0
    assert most == 1 or worst(line, at, most - 1) > 0


def worst(line, at, depth):
    """Return the most words lost at any phase of the words to the slots."""
    cycles = 12 * line
    slots = [n for n in range(cycles) if schedule(line, *at).granted(n)]
    lost = []
    for first in range(16):
        bits = {n: {"bit_strobe": 1} for n in range(first + 2, cycles)}
        events = together(armed(ENABLE | 0x3FFF, first), bits)
        seen = play(cycles, events, slots=slots, fifo_words=depth)
        lost.append(seen[-1].state.transfer.lost_words)
    return max(lost)
