"""sync_equal (B3): a level that is up exactly while window and sync_word are equal."""

from fractions import Fraction
from math import ceil

import pytest
from block_drive import MARK, ends, feed, make_block
from hypothesis import given
from hypothesis import strategies as st

from refmodel.block.inputs import Inputs
from refmodel.block.registers import RegisterBlock
from refmodel.profile import load_profile

# Raw words of check values 1a, all computed: data 00, the C2 mark, FC behind a C2 mark.
ZERO, C2_MARK, FC_AFTER_C2 = (f"{word:016b}" for word in (0xAAAA, 0x5224, 0x5552))
CHANNEL_BIT = Fraction(2, 1_000_000)  # seconds at double density; common practice, no source


def flags(words):
    """Return sync_equal of each status word."""
    return [word >> 12 & 1 for word in words]


def rises(levels):
    """Return where a level goes from 0 to 1; it was 0 before."""
    return [n for n, (a, b) in enumerate(zip([0, *levels], levels, strict=False)) if b > a]


@given(
    bits=st.text("01", max_size=120),
    word=st.one_of(st.integers(0, 0xFFFF), st.sampled_from((0, 0xFFFF, 0xAAAA, 0x4489))),
    planted=st.integers(0, 100),
)
def test_level_is_where_text_search_finds_the_word(bits, word, planted):
    """The level is up at exactly those bits that end the word in the stream, overlaps and all."""
    text = f"{word:016b}"
    bits = bits[:planted] + text + bits[planted:]
    words = feed(make_block({"sync_word": word}), bits)
    found = ends(text, bits)
    assert [n for n, up in enumerate(flags(words)) if up] == found


@given(at=st.integers(0, 40), every=st.integers(1, 20))
def test_level_lasts_one_channel_bit(at, every):
    """The level is up from the last matching bit to the bit after it, whatever the spacing."""
    levels = flags(feed(make_block(), "1" * at + MARK + "1" * 20, every))
    assert levels == [0] * (at + 15) * every + [1] * every + [0] * 20 * every


def bit_edges(profile, phase, count):
    """Return the edges that first see bits 2 us apart, the first `phase` of a bit after edge 0."""
    return [ceil((n + phase) * CHANNEL_BIT * profile.clock_hz) for n in range(count)]


@pytest.mark.parametrize("name", ["pal_dd", "ntsc_dd"])
def test_level_lasts_two_microseconds(name):
    """At either carrier clock the level lasts 14 or 15 cycles: 2 us but for less than a cycle."""
    profile, seen = load_profile(name), set()
    for phase in range(16):
        edges = bit_edges(profile, Fraction(phase, 16), 18)
        bits = dict(zip(edges, MARK + "00", strict=True))
        block = RegisterBlock(profile)
        levels = flags(
            block.step(Inputs(bit_strobe=int(edge in bits), bit=int(bits.get(edge, 0))))
            for edge in range(edges[-1] + 1)
        )
        assert rises(levels) == [edges[15]]
        assert sum(levels) == edges[16] - edges[15]
        assert abs(sum(levels) / profile.clock_hz - CHANNEL_BIT) < 1 / profile.clock_hz
        seen.add(sum(levels))
    assert seen == {14, 15}


def test_level_lasts_sixteen_cycles_of_a_round_clock():
    """At 16 MHz a high-density bit, and so the level, is 16 cycles: exactly 1 us."""
    profile = load_profile("round_hd")
    levels = flags(feed(RegisterBlock(profile), MARK + "0", int(profile.cycles_per_bit)))
    assert sum(levels) / profile.clock_hz == Fraction(1, 1_000_000)


def test_mark_of_another_kind_matches_early():
    """In a preamble and a 4489, the word 5224 ends five bits before the 4489 does."""
    # Check value 1a, "5224 false hit", found by computation.
    bits = ZERO * 6 + MARK
    levels = flags(feed(make_block({"sync_word": 0x5224}), bits))
    assert [n for n, up in enumerate(levels) if up] == [len(bits) - 1 - 5]


def test_index_mark_never_matches_4489():
    """Three 5224 and FC behind a preamble hold no 4489 at any phase."""
    # Check value 1a, "4489 in 00..00 + 5224x3 + FC: no hit", found by computation.
    assert sum(flags(feed(make_block(), ZERO * 6 + C2_MARK * 3 + FC_AFTER_C2))) == 0


def test_level_is_not_latched():
    """Reads neither clear the level nor keep it: it goes by window and sync_word alone."""
    block = make_block()
    feed(block, MARK)
    shown = [block.step(Inputs(read_status=n % 2)) >> 12 & 1 for n in range(100)]
    assert shown == [1] * 100
    assert flags(feed(block, "0")) == [0]


def test_level_follows_each_half_of_a_write():
    """The level moves at each write's own edge, one byte of sync_word at a time."""
    block = make_block({"window": 0x8912})
    halves = [(0xFF00, 0x8900), (0x00FF, 0x0012), (0x00FF, 0x0013), (0xFFFF, 0x8912)]
    words = [block.step(Inputs(write_sync_word=m, sync_word=v)) for m, v in halves]
    assert words == [0x0000, 0x1000, 0x0000, 0x1000]
    assert block.state.sync_word == 0x8912


def test_write_keeps_bits_it_does_not_carry():
    """A write over half a bus leaves the other half of sync_word, whatever its data lines show."""
    block = make_block({"sync_word": 0x1234})
    block.step(Inputs(write_sync_word=0x00FF, sync_word=0xABCD))
    assert block.state.sync_word == 0x12CD
    block.step(Inputs(write_sync_word=0, sync_word=0xABCD))
    assert block.state.sync_word == 0x12CD
