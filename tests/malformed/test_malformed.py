"""Broken bindings, profiles, scenarios, checks and cores: a message or a right verdict, in time.

CELLSTEP_MALFORMED=1000 tries more of them, CELLSTEP_MALFORMED_SEED=7 others.
"""

import os
import random

import malformed_inputs
import pytest
import yaml
from malformed_inputs import SEED, good_files, variant, ways_to_break
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
    """A variant depends on its number and seed alone."""
    assert variant(50) == variant(50)
    assert variant(50).content != variant(50, SEED + 1).content


BINDING = good_files("binding")[0].read_text(encoding="utf-8")
GOOD = {  # the binding as a changed one is written, so that one left as it is looks the same
    "binding": yaml.safe_dump(yaml.safe_load(BINDING), sort_keys=False, allow_unicode=True),
    "core": good_files("core")[0].read_text(encoding="utf-8"),
}
WAYS = [(kind, how) for kind in GOOD for how in sorted({*ways_to_break(kind == "core", SEED)})]


@pytest.mark.parametrize(("kind", "how"), WAYS)
def test_every_way_to_break_changes_a_file(kind, how):
    """Of 20 files broken in one way most are not the good file; a few swap equals (1 in 4)."""
    tries = [malformed_inputs.broken(how, GOOD[kind], random.Random(n)) for n in range(20)]
    assert tries.count(GOOD[kind].encode()) < 10
