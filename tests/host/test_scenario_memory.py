"""A scenario fills memory with words and data fields; what it leaves open is random by the seed."""

import pytest

from refmodel.ground.errors import InputError
from refmodel.media.writing import data_field_words
from refmodel.profile import load_profile
from refmodel.world.load import load_scenario
from refmodel.world.spans import disk_of

WORDS = "name: s\ntrack: {layout: words, words: [1, 2]}\n"


def memory(tmp_path, text, seed=1):
    """Return memory as a scenario with this key begins."""
    path = tmp_path / "s.yaml"
    path.write_text(WORDS + text)
    return disk_of(path, load_scenario(path), load_profile("pal_dd"), seed).memory.tolist()


def test_parts_follow_each_other(tmp_path):
    """Words come first to last; a data field is its channel bits from sync to check code."""
    text = "memory: [{words: [0xAAAA, 7], repeat: 2}, {data_field: 0xE5, size: 128}]\n"
    found = memory(tmp_path, text)
    field = data_field_words(b"\xe5" * 128).tolist()
    assert [0xAAAA, 7, 0xAAAA, 7, *field] == found[: 4 + len(field)]
    assert len(found) == 8192


def test_the_rest_is_random_by_the_seed(tmp_path):
    """The same seed gives the same words, with or without parts before them."""
    plain, again, other = (memory(tmp_path, "", seed) for seed in (1, 1, 2))
    assert plain == again != other
    assert plain[1:] == memory(tmp_path, "memory: [{words: [5]}]\n")[1:]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("memory: [{words: [1, 2]}]\nmemory_words: 1\n", "its parts are 2 words long"),
        ("memory: [{words: [65536]}]\n", "memory.0"),
        ("memory: [{data_field: 0xE5, size: 100}]\n", "128, 256, 512 or 1024"),
    ],
)
def test_refused(tmp_path, text, told):
    """Words that are none, fields of no size, and more than there is room for name the key."""
    with pytest.raises(InputError, match=told) as caught:
        memory(tmp_path, text)
    assert str(tmp_path / "s.yaml:") in str(caught.value)
