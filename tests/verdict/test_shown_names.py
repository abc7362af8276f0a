"""Names that a user chose act on nothing that shows them."""

import xml.etree.ElementTree as ET

import pytest
from command import cellstep

SCENARIO = "name: {}\ntrack: {{layout: random, bits: 500}}\nrevolutions: 1\n"


def scenario(tmp_path, name, file="scenario.yaml"):
    """Write a small scenario of that name."""
    path = tmp_path / file
    path.write_text(SCENARIO.format(name), encoding="utf-8")
    return path


@pytest.mark.share(2)
@pytest.mark.parametrize("name", ["'[/x]'", "'[bold red]x'", "'" + "n" * 300 + "'", "'<b>&amp;'"])
def test_an_odd_name_is_shown_as_it_is(core, tmp_path, name):
    """Markup and length of a name change nothing: the run agrees and its files are whole."""
    made = core()
    done = made.run(suite=scenario(tmp_path, name))
    assert 0 == done.returncode, done.stderr
    assert len(name) > 100 or name.strip("'") in done.stdout
    names = [case.get("name") for case in ET.parse(made.out / "junit.xml").iter("testcase")]
    assert [name.strip("'")] == names


def test_the_waves_of_a_long_name_are_written(core, tmp_path):
    """A mismatch in a scenario whose name is longer than a file's can be has waves, too."""
    made = core().change("sync_window.v", ("== sync_word", "!= sync_word"))
    assert 1 == made.run(suite=scenario(tmp_path, "n" * 300)).returncode
    assert 1 == len(list(made.out.glob("mismatch-*.vcd")))


@pytest.mark.parametrize("text", ['"a\\e[2Jb"', '"a\\0b"', '"a\\u202eb"', '"a\\x9bb"'])
def test_a_control_character_is_refused(core, tmp_path, text):
    """An escape sequence in a file's text is bad input, told at its place and without it."""
    done = core().run(suite=scenario(tmp_path, text))
    assert 2 == done.returncode
    assert "scenario.yaml:1:7: name: " in done.stderr
    assert "control character" in done.stderr
    assert not set("\x1b\0\u202e\x9b") & set(done.stderr + done.stdout)


def test_an_escape_in_a_path_does_not_reach_the_terminal(core, tmp_path):
    """A folder whose name clears the screen is shown with its escape spelt out."""
    made = core()
    made.binding = made.binding.rename(made.folder / "a\x1b[2Jb.yaml")
    done = made.run(suite=scenario(tmp_path, "plain"))
    assert 0 == done.returncode, done.stderr
    assert "\\x1b[2J" in done.stdout
    assert "\x1b" not in done.stdout + done.stderr + (made.out / "report.txt").read_text()
    ET.parse(made.out / "junit.xml")


def test_a_folder_of_scenarios_takes_both_suffixes(core, tmp_path):
    """A suite's folder may hold .yaml and .yml files."""
    suite = tmp_path / "suite"
    suite.mkdir()
    for n, name in enumerate(("one.yaml", "two.yml")):
        scenario(suite, f"s{n}", name)
    made = core()
    assert 0 == made.run(suite=suite).returncode
    assert ["s0", "s1"] == [run["scenario"] for run in made.result["runs"]]


def test_an_empty_suite_is_refused(core):
    """An empty name does not stand for the current folder."""
    done = core().run(suite="")
    assert 2 == done.returncode
    assert "--suite: is empty" in done.stderr


def test_an_endless_file_is_not_read_to_its_end(tmp_path):
    """A scenario that is a device without end is refused at its size."""
    (tmp_path / "zero.yaml").symlink_to("/dev/zero")
    done = cellstep("trace", tmp_path / "zero.yaml")
    assert 2 == done.returncode
    assert "is larger than 16 MiB" in done.stderr
