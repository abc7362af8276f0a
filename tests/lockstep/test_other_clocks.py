"""Cores with a second clock, on the falling edge, clocked by their strobes, and in structures."""

from pathlib import Path

import pytest
from command import cellstep
from replaced import replace_in

CORES = Path(__file__).parent / "cores"


@pytest.mark.share(2)
@pytest.mark.parametrize("core", ["two_clocks", "strobed"])
def test_core_agrees(outcomes, core):
    """By its binding alone, on both simulators, with writes, reads and resets at random."""
    (found,) = outcomes(CORES / core / "binding.yaml", "quick/random", revolutions=1)
    assert (found.verdict, found.finding, found.reads > 1000) == ("agree", None, True)
    (found,) = outcomes(CORES / core / "binding.yaml", "quick/sync_words", revolutions=1)
    assert (found.verdict, found.finding, found.reads > 100) == ("agree", None, True)


def test_lines_stay_in_the_pause_behind_a_live_access(outcomes):
    """A core that stores by the edge that ends its strobe agrees with a live host, too."""
    (found,) = outcomes(CORES / "strobed" / "binding.yaml", "quick/sync_words", live=True)
    assert (found.verdict, found.finding, found.reads > 100) == ("agree", None, True)


@pytest.mark.rest
@pytest.mark.parametrize("simulator", ["verilator"], indirect=True)
def test_members_of_a_packed_structure_are_observed(outcomes):
    """A core whose status is a packed structure shows its members, behind valid and ready."""
    (found,) = outcomes(CORES / "packed" / "binding.yaml", "quick/random", revolutions=1)
    assert (found.verdict, found.finding, found.reads > 1000) == ("agree", None, True)
    assert found.fields["byte_ready"].changes > 100


WRONG = [
    ("two_clocks", "write_latency: 1", "write_latency: 2"),
    ("two_clocks", ", read_clears: edge_after", ""),
    ("strobed", ", edge: falling", ""),
    ("strobed", "write_latency: 1", "write_latency: 0"),
]


@pytest.mark.long
@pytest.mark.parametrize(("core", "old", "new"), WRONG)
@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
def test_another_key_is_a_mismatch(outcomes, tmp_path, core, old, new):
    """A key that is not the core's is told apart."""
    for path in (CORES / core).iterdir():
        (tmp_path / path.name).write_text(path.read_text())
    replace_in(tmp_path / "binding.yaml", (old, new))
    scenario = "quick/sync_words" if "write" in old else "quick/random"
    (found,) = outcomes(tmp_path / "binding.yaml", scenario, revolutions=1)
    assert found.verdict == "mismatch"


def test_a_slow_clock_as_fast_as_the_other_is_refused(tmp_path):
    """Without the number of edges that make one of it, a second clock would not be slow."""
    for path in (CORES / "two_clocks").iterdir():
        (tmp_path / path.name).write_text(path.read_text())
    replace_in(tmp_path / "binding.yaml", (", enable_every: 4", ""))
    done = cellstep("run", tmp_path / "binding.yaml")
    assert done.returncode == 2
    assert "clock.slow: 'dclk' would be as fast as 'hclk'; give the edges of that to" in done.stderr
