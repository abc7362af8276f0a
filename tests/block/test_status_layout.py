"""The status word (B6, B7, B8): each field at its place, nothing anywhere else."""

from itertools import product

import pytest
from block_drive import MARK, feed, make_block, make_profile
from hypothesis import given
from hypothesis import strategies as st

from refmodel.block.fields import FIELD_NAMES, STATUS_FIELDS, UNUSED, Layout
from refmodel.block.inputs import Inputs

MOVED = {"data": "15..8", "byte_ready": 0, "dma_active": 2, "writing": 4, "sync_equal": 6}


@st.composite
def layouts(draw):
    """Draw a place for every field, none overlapping another."""
    low = draw(st.integers(0, 8))
    free = [bit for bit in range(16) if not low <= bit < low + 8]
    flags = draw(st.permutations(free))
    names = [name for name in FIELD_NAMES if name != "data"]
    return {"data": f"{low + 7}..{low}", **dict(zip(names, flags, strict=False))}


def test_standard_places():
    """The design's default layout: four flags from bit 15 down, data in the low byte."""
    places = {f.name: (f.msb, f.lsb) for f in STATUS_FIELDS}
    assert places == {
        "byte_ready": (15, 15),
        "dma_active": (14, 14),
        "writing": (13, 13),
        "sync_equal": (12, 12),
        "data": (7, 0),
    }
    assert Layout().unused_mask == 0x0F00


@pytest.mark.parametrize(("dma", "writing"), list(product((0, 1), repeat=2)))
def test_levels_show_at_their_own_bits(dma, writing):
    """Each level shows in the cycle of the edge that sampled it, at its bit and at no other."""
    block = make_block()
    assert block.step(Inputs(dma_active=dma, writing=writing)) == dma << 14 | writing << 13
    assert block.step(Inputs()) == 0x0000


def test_moved_fields():
    """A profile's layout moves every field; the bits between them read 0."""
    block = make_block({"window": 0x2244, "bit_count": 7}, MOVED)
    assert feed(block, "1", dma_active=1, writing=1) == [0x8955]


@given(layout=layouts(), bits=st.text("01", max_size=20))
def test_layout_moves_values_and_changes_none(layout, bits):
    """In any layout each field has the value it has in the standard one, and the rest is 0."""
    places = make_profile(None, layout).status
    both = [
        feed(block, MARK + bits, writing=1) for block in (make_block(), make_block(None, layout))
    ]
    for plain, word in zip(*both, strict=True):
        assert places.split(word) == Layout().split(plain)
        assert word & places.mask_of(UNUSED) == 0


@given(layout=layouts())
def test_fields_and_unused_bits_share_the_register(layout):
    """The fields and the unused bits have all 16 bits between them, none of them twice."""
    places = make_profile(None, layout).status
    masks = [places.mask_of(name) for name in (*FIELD_NAMES, UNUSED)]
    assert sum(masks) == 0xFFFF
    assert sum(mask.bit_count() for mask in masks) == 16


def test_unknown_field_has_no_place():
    """A layout is asked for its own fields alone."""
    with pytest.raises(KeyError, match="overrun"):
        Layout()["overrun"]
