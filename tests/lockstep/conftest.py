"""Shared by the lockstep tests: which simulators there are, and a quick way to run a core."""

import pytest

from testbenches.toolchain import available, why_not


@pytest.fixture(params=["icarus", "verilator"])
def simulator(request):
    """Each simulator in turn; skipped, with the reason, where it is missing."""
    if request.param not in available():
        pytest.skip(why_not(request.param))
    return request.param
