"""What README.md and the pages under docs tell a reader to type works as it stands."""

import re
from pathlib import Path

import pytest
from command import cellstep

TESTS = Path(__file__).parents[1]
SCENARIOS = (TESTS.parent / "docs" / "scenarios.md").read_text(encoding="utf-8")
PAGES = [TESTS.parent / "README.md", *sorted((TESTS.parent / "docs").glob("*.md"))]
README = "\n".join(page.read_text(encoding="utf-8") for page in PAGES)
DEVELOPERS = (TESTS.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
TRACES = [  # of scenarios; a folder of results is not there
    line
    for line in re.findall(r"^    cellstep trace ([^#\n]*\w)", README, re.MULTILINE)
    if not line.startswith("results/")
]
FIRST = re.findall(r"^## My .*\n\n    cellstep (.*)", README, re.MULTILINE)
SCRIPTS = re.findall(r"(?:^    from .*\n)+(?:^(?:    .*)?\n)+", SCENARIOS, re.MULTILINE)
SCRIPT = next(script for script in SCRIPTS if "print(" in script)


def test_traces_are_there():
    """The README shows a trace as a table and one as a VCD."""
    assert 2 == len(TRACES)


def test_variables_of_the_tests_are_told():
    """DEVELOPERS.md names each environment variable that changes what the tests try."""
    read = re.compile(r"environ(?:\.get\(|\[)\"(CELLSTEP_\w+)")
    names = {n for path in TESTS.rglob("test_*.py") for n in read.findall(path.read_text())}
    assert names
    assert set() == {name for name in names if f"`{name}=" not in DEVELOPERS}


@pytest.mark.parametrize("line", TRACES)
def test_trace(line, tmp_path):
    """Each trace of the README finds its scenario."""
    done = cellstep("trace", *line.split(), cwd=tmp_path)
    assert done.stderr.startswith("sync_poll, profile pal_dd: cycles ")


def test_each_task_begins_with_a_command():
    """Every section on a task has one, but the first, whose commands need the user's own core."""
    assert len(FIRST) == len(re.findall("^## My ", README, re.MULTILINE)) - 1 == 7


@pytest.mark.parametrize("line", FIRST)
def test_first_command_of_each_task(line, tmp_path):
    """The command a section of the README begins with runs as it stands, in a clone."""
    (tmp_path / "hdl_stubs").symlink_to(TESTS.parent / "hdl_stubs")
    done = cellstep(*line.split(), cwd=tmp_path)
    assert (0, "") == (done.returncode, done.stderr if done.returncode else "")
    assert done.stdout + done.stderr


def test_script(capsys):
    """The script of the README prints the word that stands in its comment."""
    lines = [line[4:] for line in SCRIPT.splitlines()]
    exec("\n".join(lines), {})
    wanted = re.search(r"print\(.*# (0x[0-9A-F]{4}):", SCRIPT)[1]
    assert f"{wanted}\n" == capsys.readouterr().out
