"""Things that fall on one edge: reset, then the write, then the bit, then the read's clear."""

from itertools import product

import pytest
from block_drive import make_block

from refmodel.block.inputs import Inputs

START = {"window": 0x2244, "bit_count": 7, "data": 0x3C, "sync_word": 0x4489}
RESET, WRITE, BIT, READ = (
    {"reset": 1},
    {"write_sync_word": 0xFFFF, "sync_word": 0x2244},
    {"bit_strobe": 1, "bit": 1},
    {"read_status": 1},
)
# What arrives on one edge, with byte_ready up before it: then status with policy ready_tie
# set_wins and clear_wins, sync_word, window, bit_count after it. The bit completes the byte 0x89
# and makes the window 0x4489; the write makes sync_word equal to the window before the bit.
EDGES = [
    ((), 0x803C, 0x803C, 0x4489, 0x2244, 7),
    ((READ,), 0x003C, 0x003C, 0x4489, 0x2244, 7),
    ((BIT,), 0x9089, 0x9089, 0x4489, 0x4489, 0),
    ((BIT, READ), 0x9089, 0x1089, 0x4489, 0x4489, 0),
    ((WRITE,), 0x903C, 0x903C, 0x2244, 0x2244, 7),
    ((WRITE, READ), 0x103C, 0x103C, 0x2244, 0x2244, 7),
    ((WRITE, BIT), 0x8089, 0x8089, 0x2244, 0x4489, 0),
    ((WRITE, BIT, READ), 0x8089, 0x0089, 0x2244, 0x4489, 0),
]


def after(arriving, byte_ready=1, **policies):
    """Return status, sync_word, window and bit_count after one edge."""
    block = make_block({**START, "byte_ready": byte_ready}, **policies)
    inputs = {name: value for event in arriving for name, value in event.items()}
    status = block.step(Inputs(**inputs))
    return status, block.state.sync_word, block.state.window, block.state.bit_count


@pytest.mark.parametrize("row", EDGES, ids=lambda row: "+".join(k for e in row[0] for k in e))
def test_every_combination(row):
    """Write, bit and read act together as the table says, with either choice of the tie."""
    arriving, set_wins, clear_wins, *inside = row
    assert after(arriving, ready_tie="set_wins") == (set_wins, *inside)
    assert after(arriving, ready_tie="clear_wins") == (clear_wins, *inside)


@pytest.mark.parametrize("row", EDGES, ids=lambda row: "+".join(k for e in row[0] for k in e))
@pytest.mark.parametrize("tie", ["set_wins", "clear_wins"])
def test_reset_wins_over_all(row, tie):
    """With reset on the edge, whatever else arrives leaves the reset values."""
    assert after((RESET, *row[0]), ready_tie=tie) == after((), ready_tie=tie)


@pytest.mark.parametrize(("tie", "flag"), [("set_wins", 1), ("clear_wins", 0)])
@pytest.mark.parametrize("before", [0, 1])
def test_tie_does_not_depend_on_the_flag_before(tie, flag, before):
    """The policy decides the tie alike with the flag up or down before it."""
    assert after((BIT, READ), before, ready_tie=tie)[0] == flag << 15 | 0x1089


@pytest.mark.parametrize("tie", ["set_wins", "clear_wins"])
def test_tie_is_only_for_completed_bytes(tie):
    """A bit inside a byte and a read are no tie: the read clears, whatever the policy."""
    block = make_block({"bit_count": 3, "byte_ready": 1}, ready_tie=tie)
    assert block.step(Inputs(**BIT, **READ)) == 0x0000


@pytest.mark.parametrize(("write", "word"), list(product((0x8912, 0x8913), (0, 1))))
def test_bit_realigns_by_the_word_just_written(write, word):
    """On the edge of a bit and a write, the count restarts only if the new word matches."""
    block = make_block({"window": 0x4489, "bit_count": 4}, realign="always")
    block.step(Inputs(bit_strobe=1, bit=word, write_sync_word=0xFFFF, sync_word=write))
    equal = write == 0x8912 + word
    assert (block.state.bit_count, block.status) == ((0, 0x1000) if equal else (5, 0x0000))
