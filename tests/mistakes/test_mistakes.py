"""A report names the cause, or the key of the binding, of each mistake that is commonly made."""

from pathlib import Path

import pytest
from mistakes import ASKED, DEFECTS, FURTHER

from hdl_stubs.defects import REFERENCE, apply, load_defects
from testbenches.suite import Options, run_bindings
from testbenches.toolchain import available

ALL = ASKED | FURTHER
needs_icarus = pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog")
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


@pytest.mark.rest
def test_the_other_byte_that_clears_is_named(core):
    """A core read in bytes, bound with the wrong one as that which clears, is told the key."""
    one = core("bytewide")
    one.change("binding.yaml", ("clears_on: high", "clears_on: low"))
    done = one.run(suite="quick/dense_reads", sim="icarus")
    assert 1 == done.returncode, done.stdout + done.stderr
    assert f"with {KEY}" in done.stdout


NEITHER = ("sync_latched_until_read", "read_shows_the_cleared_flag")  # is a wrong binding
BY_THE_BUS = {  # defects that a wrong binding of the bus explains as well, and how
    "ready_clears_late": "bus.latency: 1 more",
    "sync_word_byte_swapped": "the bytes of bus.write_data the other way round",
    "sync_word_fixed": "no write that arrives",
}


def explained(name, folder):
    """Return what would have each run of a defect agree, of what was tried on its bus."""
    defect = next(d for d in load_defects() if d.name == name)
    apply(defect, REFERENCE, folder / "core")
    binding = folder / "core" / "binding.yaml"
    (result,) = run_bindings([binding], defect.suite, Options(simulators=["icarus"]))
    found = [run.outcome.finding for run in result.runs if run.outcome.finding]
    assert found
    changes = [{t.change for t in finding.tried if t.agrees} for finding in found]
    return [
        {c for c in each if c.startswith(("bus.", "no write", "the bytes"))} for each in changes
    ]


@pytest.mark.share(2)
@needs_icarus
@pytest.mark.parametrize("name", NEITHER)
def test_defect_is_not_called_a_wrong_binding(name, tmp_path):
    """What is left open when a register is supposed elsewhere does not explain a mismatch."""
    assert not any(explained(name, tmp_path))


@pytest.mark.long
@needs_icarus
@pytest.mark.parametrize("name", [d.name for d in load_defects() if d.name not in NEITHER])
def test_no_other_defect_is_called_a_wrong_binding(name, tmp_path):
    """Of the whole catalogue three could be the bus's fault, and are said to be in the same way."""
    found = explained(name, tmp_path)
    assert name in BY_THE_BUS or not any(found)
    assert not BY_THE_BUS.get(name) or any(BY_THE_BUS[name] in each for each in found)
