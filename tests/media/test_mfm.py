"""MFM encoding, decoding and the marks, against published words and an exhaustive search."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refmodel.ground.errors import UserError
from refmodel.media.mfm import (
    MARK_A1,
    MARK_C2,
    bits_to_words,
    decode,
    encode,
    find,
    word_bits,
)

# Each 16-bit number in turn: every run of up to 16 data bits occurs in it.
ALL_CONTEXTS = np.arange(1 << 16, dtype=">u2").tobytes()
PREAMBLE = bytes(12)


def spacings(bits):
    """Return the distances between transitions, in channel bits."""
    return np.diff(np.flatnonzero(bits)).tolist()


def by_the_rule(data, previous):
    """Encode cell by cell from the wording of ISO 8860-2 4.1."""
    channel = ""
    for bit in "".join(f"{byte:08b}" for byte in data):
        channel += "1" if (previous, bit) == ("0", "0") else "0"
        channel += bit
        previous = bit
    return channel


@given(st.binary(max_size=40), st.integers(0, 1))
def test_encoding_follows_the_rule(data, previous):
    """A cell has a transition at its centre for a one, at its start between two zeros."""
    encoded = "".join(map(str, encode(data, previous)))
    assert encoded == by_the_rule(data, str(previous))


@pytest.mark.parametrize(
    ("data", "previous", "words"),
    [
        ("A1", 0, "44A9"),
        ("C2", 0, "52A4"),
        ("00", 0, "AAAA"),
        ("00", 1, "2AAA"),
        ("4E 4E 4E", 0, "9254 9254 9254"),
        ("4E 4E 4E", 1, "1254 9254 9254"),
        ("FE", 0, "5554"),
        ("FE", 1, "5554"),
        ("FB", 0, "5545"),
        ("FB", 1, "5545"),
        ("F8", 0, "554A"),
        ("F8", 1, "554A"),
        ("FC", 0, "5552"),
        ("FC", 1, "5552"),
        ("FF", 0, "5555"),
        ("E5", 0, "5491"),
        ("6D", 0, "9451"),
        ("B6", 0, "4514"),
    ],
)
def test_bytes_have_their_words(data, previous, words):
    """A byte encodes to the raw word computed outside the project (check values 1a)."""
    encoded = bits_to_words(encode(bytes.fromhex(data), previous))
    assert [f"{word:04X}" for word in encoded] == words.split()


@pytest.mark.parametrize(
    ("byte", "mark", "normal_clock", "mark_clock", "boundary"),
    [(0xA1, MARK_A1, 0x0E, 0x0A, 3), (0xC2, MARK_C2, 0x1C, 0x14, 4)],
)
def test_a_mark_lacks_one_clock(byte, mark, normal_clock, mark_clock, boundary):
    """A mark is its byte without the transition before bit `boundary`, bit 8 first.

    Clock bits: 8-inch drive manual p. 36, 37; the boundaries follow from them.
    """
    normal = encode(bytes([byte]))
    marked = word_bits(mark)
    assert np.packbits(normal[0::2])[0] == normal_clock
    assert np.packbits(marked[0::2])[0] == mark_clock
    assert np.flatnonzero(normal != marked).tolist() == [2 * (8 - boundary)]
    assert decode(marked) == bytes([byte])


@pytest.mark.parametrize(
    ("mark", "expected"),
    [(MARK_A1, [4, 3, 4, 3, 2, 4, 3, 4, 3]), (MARK_C2, [2, 3, 4, 3, 4, 2, 3, 4, 3])],
)
def test_spacings_inside_marks(mark, expected):
    """Two marks in a row have the spacings computed outside the project (check values 1a)."""
    assert spacings(word_bits([mark, mark])) == expected


def test_mark_a1_never_occurs_in_legal_mfm():
    """The word 4489 is found in no data, at no phase; every context is tried."""
    assert find(encode(ALL_CONTEXTS), MARK_A1).tolist() == []


def test_mark_c2_occurs_in_legal_mfm_at_the_odd_phase_only():
    """The word 5224 is found exactly where the data bits 000101001 are, on a clock bit."""
    ones = np.unpackbits(np.frombuffer(ALL_CONTEXTS, np.uint8))
    pattern = np.array([0, 0, 0, 1, 0, 1, 0, 0, 1])
    first_cell = np.flatnonzero(
        (np.lib.stride_tricks.sliding_window_view(ones, 9) == pattern).all(axis=1)
    )
    last_clock = 2 * (first_cell + 8)
    assert len(last_clock) > 1000
    assert find(encode(ALL_CONTEXTS), MARK_C2).tolist() == last_clock.tolist()


def test_mark_c2_is_hit_five_bits_before_the_first_mark_a1():
    """In a preamble of zeros and 4489 the word 5224 completes five channel bits too early."""
    bits = np.concatenate((encode(PREAMBLE), word_bits([MARK_A1] * 3)))
    assert find(bits, MARK_C2)[0] == find(bits, MARK_A1)[0] - 5
    assert find(bits, MARK_A1).tolist() == [207, 223, 239]


def test_mark_a1_is_not_hit_in_an_index_mark():
    """A preamble of zeros, three 5224 and FC hold no 4489."""
    bits = np.concatenate((encode(PREAMBLE), word_bits([MARK_C2] * 3), encode(b"\xfc")))
    assert find(bits, MARK_A1).tolist() == []
    assert find(bits, MARK_C2).tolist() == [207, 223, 239]


@given(st.binary(min_size=2, max_size=60), st.integers(0, 1))
def test_legal_spacings(data, previous):
    """Transitions of any data are 2, 3 or 4 channel bits apart: 4, 6 or 8 us."""
    assert set(spacings(encode(data, previous))) <= {2, 3, 4}


def test_every_legal_spacing_occurs():
    """All three spacings occur, and no other, over every context of 16 data bits."""
    assert set(spacings(encode(ALL_CONTEXTS))) == {2, 3, 4}


@given(st.binary(max_size=60), st.integers(0, 1))
def test_decoding_undoes_encoding(data, previous):
    """Decoded channel bits are the data they were encoded from."""
    assert decode(encode(data, previous)) == data


@given(st.binary(min_size=1, max_size=20), st.binary(max_size=20), st.integers(0, 1))
def test_pieces_join_without_a_seam(before, after, previous):
    """Two pieces encode as one when the second is given the last data bit of the first."""
    joined = np.concatenate((encode(before, previous), encode(after, before[-1] & 1)))
    assert joined.tolist() == encode(before + after, previous).tolist()


@given(st.lists(st.integers(0, 0xFFFF), max_size=20))
def test_words_survive_as_bits(words):
    """Words spread out into bits and packed again are the same."""
    assert bits_to_words(word_bits(words)).tolist() == words


def test_the_last_word_is_filled_up_with_zeros():
    """Channel bits that are no whole words end in a word padded at its end."""
    assert bits_to_words(np.ones(17, np.uint8)).tolist() == [0xFFFF, 0x8000]
    assert bits_to_words(np.ones(9, np.uint8)).tolist() == [0xFF80]


@given(st.text("01", max_size=90), st.integers(0, 0xFFFF), st.integers(0, 90))
def test_a_word_is_found_at_any_phase(text, word, at):
    """Every place of a word is found, and named by the bit that completes it."""
    text = text[:at] + f"{word:016b}" + text[at:]
    bits = np.array(list(text), np.uint8)
    ends = [n for n in range(15, len(text)) if text[n - 15 : n + 1] == f"{word:016b}"]
    assert find(bits, word).tolist() == ends


def test_nothing_is_found_in_less_than_a_word():
    """Fewer than 16 channel bits hold no word."""
    assert find(np.zeros(15, np.uint8), 0).tolist() == []
    assert find(np.zeros(16, np.uint8), 0).tolist() == [15]


def test_broken_bytes_are_refused():
    """Channel bits that are no whole bytes are not decoded."""
    with pytest.raises(UserError, match="17 channel bits are not whole bytes; a byte has 16"):
        decode(np.zeros(17, np.uint8))


@pytest.mark.parametrize("word", [-1, 0x10000])
def test_too_wide_words_are_refused(word):
    """A word outside 16 bits is an error that shows it."""
    with pytest.raises(UserError, match=f"word {word:#x} is not in 0 .. 0xffff"):
        word_bits([0, word])
