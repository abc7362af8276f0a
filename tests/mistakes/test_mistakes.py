"""A report names the cause, or the key of the binding, of each mistake that is commonly made."""

from pathlib import Path

import pytest
from mistakes import ASKED, DEFECTS, FURTHER

from hdl_stubs.defects import REFERENCE, apply, load_defects

ALL = ASKED | FURTHER
FEW = (
    "late write",
    "field at another bit",
    "bytes of a read swapped",
    "addresses swapped",
)  # in every run of the tests
KEY = "bus.registers.status.clears_on: the other byte"
PAGE = (Path(__file__).parents[2] / "docs" / "mistakes.md").read_text(encoding="utf-8")


def told_of(name, core, simulator="icarus"):
    """Make a mistake, run the core, and return what the command says; hold it to the table."""
    mistake, one = ALL[name], core()
    for file, change in mistake.changes:
        one.change(file, change)
    done = one.run(suite=mistake.suite, sim=simulator)
    said = done.stdout + done.stderr
    assert mistake.status == done.returncode, said
    for text in mistake.says:
        assert text in said, said


@pytest.mark.share(3)
@pytest.mark.parametrize("name", FEW)
def test_mistake_is_named(name, core):
    """What stands in the table for a mistake is in its report."""
    told_of(name, core)


@pytest.mark.long
@pytest.mark.parametrize("name", sorted(ALL.keys() - set(FEW)))
def test_every_other_mistake_is_named(name, core):
    """So it is for all others: eight that were asked for, and the rest of twelve more."""
    told_of(name, core)


@pytest.mark.long
@pytest.mark.parametrize("name", ["late write", "polarity of reset", "bytes of a write swapped"])
def test_mistake_is_named_on_verilator_as_well(name, core):
    """A simulator of two states tells the same."""
    told_of(name, core, "verilator")


@pytest.mark.long
@pytest.mark.parametrize("name", DEFECTS)
def test_defect_is_named_by_its_clause(name, core):
    """Four defects, of four clauses, are blamed on theirs, with the lines of the core behind."""
    defect = next(d for d in load_defects() if d.name == name)
    one = core()
    apply(defect, REFERENCE, one.folder / "wrong")
    one.binding = one.folder / "wrong" / "binding.yaml"
    done = one.run(suite="quick")
    assert 1 == done.returncode
    assert f"  clause    {defect.clause}: " in done.stdout
    assert "  lines     " in done.stdout


def test_page_lists_every_mistake():
    """docs/mistakes.md has a row for each, and quotes what its report says."""
    rows = [line for line in PAGE.splitlines() if line.startswith("| ")]
    assert len(ALL) + len(DEFECTS) == len(rows) - 1
    for name, mistake in ALL.items():
        (row,) = [row for row in rows if row.startswith(f"| {name} |")]
        quoted = mistake.says[0].removeprefix("this revolution agrees with ").strip()
        assert " ".join(quoted.split()) in row, name


def test_the_other_byte_that_clears_is_named(core):
    """A core read in bytes, bound with the wrong one as that which clears, is told the key."""
    one = core("bytewide")
    one.change("binding.yaml", ("clears_on: high", "clears_on: low"))
    done = one.run(suite="quick/dense_reads", sim="icarus")
    assert 1 == done.returncode, done.stdout + done.stderr
    assert f"with {KEY}" in done.stdout
