"""Broken bindings, profiles, scenarios, checks and cores: a message or a right verdict, in time.

CELLSTEP_MALFORMED=1000 tries more of them, CELLSTEP_MALFORMED_SEED=7 others.
"""

import os

import pytest
from malformed_inputs import SEED, variant
from malformed_run import Bench
from malformed_verdict import faults

from testbenches.toolchain import available

COUNT = int(os.environ.get("CELLSTEP_MALFORMED", "126"))
OTHER_SEED = int(os.environ.get("CELLSTEP_MALFORMED_SEED", SEED))
needs_icarus = pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog")


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """Return a folder of good cores and scenarios to break."""
    return Bench(tmp_path_factory.mktemp("malformed"))


@needs_icarus
@pytest.mark.parametrize("broken", [variant(n, OTHER_SEED) for n in range(COUNT)], ids=str)
def test_broken_input(broken, bench):
    """A broken input ends in time with a message that tells file and line, or a right verdict."""
    command, ran = bench.run(broken)
    good = bench.good(broken) if ran.result else None
    assert [] == list(faults(broken, command, ran, good)), f"{command}\n{ran.text[-3000:]}"


def test_a_variant_is_always_the_same():
    """A variant depends on its number and seed alone, and is not the good file."""
    assert variant(50) == variant(50)
    assert variant(50).content != variant(50, SEED + 1).content
    same = [n for n in range(300) if variant(n).content == variant(n).good.read_bytes()]
    assert 30 > len(same)  # a few swap equal lines
