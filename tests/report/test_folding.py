"""What a terminal is told fits its columns, and loses no word by it."""

import io

import pytest
from report_cases import finding, held, mismatch, suite
from rich.console import Console

from refmodel.explain import story, trace
from refmodel.explain.moment import find_moment, parse_moment
from refmodel.explain.story import write_story
from refmodel.explain.trace import model_trace, write_table
from refmodel.profile import load_profile
from refmodel.report.terminal import show
from refmodel.world.find import find_scenario

PAL = load_profile("pal_dd")


def shown(width):
    """Return the lines of a mismatch's report in a terminal so wide, or in a file."""
    file = io.StringIO()
    console = Console(file=file, width=width or 80, force_terminal=bool(width), color_system=None)
    show(console, suite(mismatch("icarus", finding(core=held(480)))))
    return file.getvalue().splitlines()


@pytest.mark.parametrize("width", [80, 120])
def test_report_folds(width):
    """No line of a mismatch's report is wider than the terminal, and a file has long lines."""
    lines, whole = shown(width), shown(None)
    assert max(map(len, lines)) <= width
    assert " ".join(lines).split() == " ".join(whole).split()
    assert max(map(len, whole)) > 80
    assert len(shown(120)) < len(shown(80))


def test_further_lines_of_a_fact_stand_under_its_first():
    """The cause goes on under where it began."""
    lines = shown(80)
    at = next(n for n, line in enumerate(lines) if line.startswith("  cause"))
    assert lines[at + 1].startswith(" " * 12)
    assert lines[at + 1][12] != " "


def written(write, what, columns, monkeypatch):
    """Return the lines that are written to a terminal so wide, or to a file."""
    for module in (story, trace):
        monkeypatch.setattr(module, "room_of_stream", lambda _: columns)
    file = io.StringIO()
    write(file, what)
    return file.getvalue().splitlines()


@pytest.mark.parametrize("columns", [80, 120])
def test_explain_and_trace_fold(columns, monkeypatch):
    """The story of a moment and a trace fit 80 columns, and use 120."""
    path, scenario = find_scenario("quick/sync_poll")
    found = find_moment(path, scenario, PAL, 1, parse_moment("sync:2"))
    table = model_trace(path, scenario, PAL, 1, 600, 760)
    for write, what in ((write_story, found), (write_table, table)):
        lines = written(write, what, columns, monkeypatch)
        assert max(map(len, lines)) <= columns
        whole = " ".join(written(write, what, None, monkeypatch)).split()
        text = [word for word in " ".join(lines).split() if word.isalpha()]
        assert [word for word in whole if word.isalpha()] == text
