"""Yosys plants changes in a core: all in one text, each at a line of the source."""

from pathlib import Path

import pytest

from hdl_stubs.defects import HERE
from refmodel.ground.errors import CannotRun
from testbenches.binding.load import load_binding
from testbenches.hdl.mutants import CHOICE, planted
from testbenches.hdl.synth import NetSource
from testbenches.mutate.mutator import suites_for

REFERENCE = NetSource(sorted((HERE / "reference").glob("*.v")))


@pytest.fixture(scope="module")
def reference():
    """Return the reference core with a hundred changes."""
    return planted(REFERENCE, "disk_regs", {"SYNC_VIEW": 1}, 100, 1)


def test_as_many_as_asked_for(reference):
    """They are numbered from 1, and the choice is wide enough for all."""
    assert list(range(1, 101)) == [mutant.number for mutant in reference.mutants]
    assert 7 == reference.width
    assert f"{CHOICE} == 7'h64" in reference.text or f"7'h64 == {CHOICE}" in reference.text


def test_each_is_at_a_line_of_the_source(reference):
    """The file is the user's own, and the line is in it."""
    for mutant in reference.mutants:
        lines = Path(mutant.file).read_text().splitlines()
        assert 0 < mutant.line <= len(lines)
        assert "$" not in mutant.change


def test_same_seed_plants_the_same():
    """Another seed plants others."""
    one, same, other = (planted(REFERENCE, "disk_regs", {}, 20, seed).mutants for seed in (1, 1, 2))
    assert one == same != other


def test_no_clock_is_changed(tmp_path):
    """A core that is nothing but registers has only what they take changed."""
    file = tmp_path / "delay.v"
    file.write_text(
        "module delay(input clk, input d, output reg q);\n"
        "  reg r;\n  always @(posedge clk) begin r <= d; q <= r; end\nendmodule\n"
    )
    found = planted(NetSource([file]), "delay", {}, 50, 1)
    assert 0 < len(found.mutants) <= 50
    assert not [mutant for mutant in found.mutants if "clk" in mutant.change.lower()]


def test_what_yosys_does_not_read(tmp_path):
    """Its message comes with the user's file and line."""
    file = tmp_path / "odd.sv"
    file.write_text("module odd(input clk);\n  covergroup c; endgroup\nendmodule\n")
    with pytest.raises(CannotRun, match=r"odd\.sv:2"):
        planted(NetSource([file]), "odd", {}, 10, 1)


@pytest.mark.parametrize(
    ("binding", "more"),
    [
        ("reference/binding", []),
        ("reference/counters", ["counters"]),
        ("flux/counter", ["flux_lengths"]),
    ],
)
def test_suites_that_suit_a_core(binding, more):
    """Besides the three there are long ones: for observed counters, and for a core fed by flux."""
    suites = suites_for(load_binding(HERE / f"{binding}.yaml"))
    assert ["quick", "block", "aimed", *more] == list(suites)
