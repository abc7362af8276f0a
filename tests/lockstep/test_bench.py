"""`make bench` measures: each row has a figure; no test looks at how large it is."""

import re

from testbenches import bench


def test_model_rows_have_figures():
    """The rows of the model say what was measured, with a number, beside the target."""
    rows = [*bench.model_rows(), bench.flux_row()]
    assert 3 == len(rows)
    assert all(re.search(r"\d", row.measured) and row.what and row.target for row in rows)
