"""Reset (B14): the profile's values, at once and for as long as it is asserted."""

from block_drive import MARK, feed, make_block
from hypothesis import given
from hypothesis import strategies as st

from refmodel.block.inputs import Inputs

VALUES = st.fixed_dictionaries(
    {
        "window": st.integers(0, 0xFFFF),
        "sync_word": st.integers(0, 0xFFFF),
        "bit_count": st.integers(0, 7),
        "data": st.integers(0, 0xFF),
        "byte_ready": st.integers(0, 1),
        "control": st.integers(0, 0b11111),
    }
)


def test_block_begins_in_reset_state():
    """A new block shows the default values: no flag, no byte, sync_word 0x4489."""
    block = make_block()
    assert (block.status, block.state.sync_word, block.state.window) == (0x0000, 0x4489, 0x0000)


@given(values=VALUES)
def test_reset_restores_the_profile_values(values):
    """After anything at all, one edge of reset gives back every value of the profile."""
    block = make_block(values)
    first = block.status
    assert first & 0x80FF == values["byte_ready"] << 15 | values["data"]
    feed(block, MARK + "010", dma_active=1, writing=1)
    block.step(Inputs(write_sync_word=0xFFFF, sync_word=0x1234, dma_active=1))
    assert block.step(Inputs(reset=1, dma_active=1, writing=1)) == first
    assert {name: getattr(block.state, name) for name in values} == values


@given(word=st.integers(0, 0xFFFF), view=st.sampled_from(("live", "registered")))
def test_reset_shows_its_own_comparison(word, view):
    """Reset values that are equal show sync_equal in reset, with either view of it."""
    block = make_block({"window": word, "sync_word": word}, sync_view=view)
    assert block.status == 0x1000
    feed(block, "0" if word & 1 else "1")
    assert [block.step(Inputs(reset=1)), block.step(Inputs())] == [0x1000, 0x1000]


def test_reset_holds():
    """While reset lasts nothing gets through, and nothing of it comes out later."""
    block = make_block()
    arriving = {"bit_strobe": 1, "bit": 1, "read_status": 1, "dma_active": 1, "writing": 1}
    words = [block.step(Inputs(reset=1, **arriving)) for _ in range(20)]
    assert words == [0x0000] * 20
    assert feed(block, "10100001") == [0x0000] * 7 + [0x80A1]


def test_levels_return_after_reset():
    """The levels read 0 in reset and show their inputs again from the first edge after it."""
    block = make_block()
    levels = {"dma_active": 1, "writing": 1}
    words = [block.step(Inputs(reset=r, **levels)) for r in (0, 1, 0)]
    assert words == [0x6000, 0x0000, 0x6000]
