"""`make bench` measures: each row has a figure; no test looks at how large it is."""

import re

import pytest

from testbenches.bench.of_checker import checker_row
from testbenches.bench.of_commands import capture_rows
from testbenches.bench.of_lockstep import every_cycle_row
from testbenches.bench.of_the_model import flux_row, model_rows
from testbenches.toolchain import available

needs_icarus = pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog")


def test_model_rows_have_figures():
    """The rows of the model say what was measured, with a number, beside the target."""
    rows = [*model_rows(), flux_row()]
    assert 3 == len(rows)
    assert all(re.search(r"\d", row.measured) and row.what and row.target for row in rows)


@needs_icarus
def test_the_plain_way_is_measured():
    """The loop that reads every field every cycle ends, and is set against lockstep's rate."""
    row = every_cycle_row("icarus", 1e6)
    times, rate = re.fullmatch(r"(\d+)x \((\d+) k cycles/s\)", row.measured).groups()
    assert int(times) * int(rate) == pytest.approx(1000, rel=0.2)


@pytest.mark.rest
@needs_icarus
def test_the_checker_is_measured():
    """The bench of one's own runs with the checker and without."""
    assert re.fullmatch(
        r"[01]\.\d\d \(\d+ k against \d+ k cycles/s\)", checker_row("icarus").measured
    )


@pytest.mark.rest
def test_a_capture_is_measured():
    """The waveform that is written is checked, and agrees."""
    (row,) = capture_rows(1)
    assert re.fullmatch(r"at most \d+ MB, \d+ MB/s", row.measured)
