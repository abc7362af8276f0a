"""The event file holds cycles and drive words as a simulator's $fread takes them."""

from pathlib import Path

import numpy as np
import pytest

from testbenches.event_file import encoded, head, read_events


def test_bytes_come_highest_first() -> None:
    """IEEE 1364-2005, 17.2.4.4 (from memory): $fread fills from the most significant byte on."""
    assert head(0x01020304, 5) == bytes([1, 2, 3, 4, 0, 0, 0, 5])
    events = encoded(np.array([0x0A0B0C0D]), np.array([0x1ABCDE], np.uint64), 21)
    assert events == bytes([0x0A, 0x0B, 0x0C, 0x0D, 0x1A, 0xBC, 0xDE])


@pytest.mark.parametrize("width", [1, 8, 9, 28, 33, 63, 64])
def test_words_of_any_width_come_back(width: int, tmp_path: Path) -> None:
    """What was written is read again, also a word of no whole number of bytes."""
    edges = np.array([0, 7, 2**31 + 5])
    words = np.array([0, 1, (1 << width) - 1], np.uint64)
    path = tmp_path / "0.events"
    path.write_bytes(head(100, 100) + encoded(edges, words, width))
    cycles, back = read_events(path, width)
    assert cycles.tolist() == edges.tolist()
    assert back.tolist() == words.tolist()


def test_file_without_events_is_empty(tmp_path: Path) -> None:
    """A window in which nothing happens has a head only."""
    path = tmp_path / "0.events"
    path.write_bytes(head(100, 100))
    assert not len(read_events(path, 28)[0])
