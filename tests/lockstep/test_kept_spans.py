"""The spans of a run lie in a file but for the first few, and come back as they were."""

import pickle

import numpy as np
import pytest

from refmodel.ground.stimulus import Stimulus
from testbenches.kept_spans import AT_HAND, KeptSpans


def span(n):
    """Return a span with a bit in it."""
    return Stimulus(100 * n, 100, np.array([100 * n + 3]), np.array([n % 2], np.uint8))


def kept(folder, count):
    """Return so many spans, kept."""
    spans = KeptSpans(folder / "0.spans")
    for n in range(count):
        spans.append(span(n))
    return spans


@pytest.mark.parametrize("count", [0, 1, AT_HAND, AT_HAND + 1, 3 * AT_HAND])
def test_spans_come_back_in_order_any_number_of_times(tmp_path, count):
    """Each with its cycles and bits, by its number from either end, and in another process."""
    spans = pickle.loads(pickle.dumps(kept(tmp_path, count)))
    for _ in range(2):
        assert [100 * n for n in range(count)] == [s.first for s in spans]
        assert [[100 * n + 3] for n in range(count)] == [s.bit_cycle.tolist() for s in spans]
    assert count == len(spans)
    if count:
        assert 100 * (count - 1) == spans[-1].first
        assert [s.first for s in spans][1:4] == [s.first for s in spans[1:4]]
    with pytest.raises(IndexError):
        spans[count]


def test_a_short_run_writes_no_file(tmp_path):
    """The first few stay in memory; the file holds the others only."""
    kept(tmp_path, AT_HAND)
    assert [] == list(tmp_path.iterdir())
    kept(tmp_path, AT_HAND + 1)
    assert ["0.spans"] == [path.name for path in tmp_path.iterdir()]
