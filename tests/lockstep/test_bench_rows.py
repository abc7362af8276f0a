"""The rows of `make bench` that need a session of their own can still be measured."""

import re

import pytest

from testbenches.bench.of_lockstep import every_cycle_row
from testbenches.toolchain import available


@pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog")
def test_the_plain_way_is_measured():
    """The loop that reads every field every cycle ends, and is set against lockstep's rate."""
    row = every_cycle_row("icarus", 1e6)
    times, rate = re.fullmatch(r"(\d+)x \((\d+) k cycles/s\)", row.measured).groups()
    assert int(times) * int(rate) == pytest.approx(1000, rel=0.2)
