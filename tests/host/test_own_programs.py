"""Host programs of a user's own in every command that plays a scenario."""

import json

import pytest
from command import cellstep

from hdl_stubs.defects import REFERENCE, apply, load_defects
from testbenches.toolchain import available

PROGRAM = """
from refmodel.host.program import Read, Write


def slow_poll(block, reads=40, cost=20):
    yield Write("sync_word", 0x4489, cost=8)
    for _ in range(reads):
        status = yield Read("status", cost=cost)
        if status.sync_equal and cost == 21:
            raise KeyError("mine")
    return reads
""".replace("block, ", "")
SCENARIO = """
name: mine
track: {layout: words, words: [0x4489, 0x2AA9, 0x4489, 0x5545]}
revolutions: 2
%s
host: {program: slow_poll, params: {reads: 60, cost: %d}}
"""


@pytest.fixture
def folder(tmp_path):
    """Return a folder with a program, a scenario that names it, and one that does not."""
    (tmp_path / "mine.py").write_text(PROGRAM)
    (tmp_path / "named.yaml").write_text(SCENARIO % ("programs: [mine.py]", 20))
    (tmp_path / "bare.yaml").write_text(SCENARIO % ("", 20))
    (tmp_path / "raises.yaml").write_text(SCENARIO % ("programs: [mine.py]", 21))
    return tmp_path


@pytest.fixture(autouse=True)
def nothing_kept(monkeypatch):
    """Forget the files of --programs when a test ends."""
    monkeypatch.setenv("CELLSTEP_PROGRAMS", "")


@pytest.mark.parametrize("given", [["named.yaml"], ["bare.yaml", "--programs", "mine.py"]])
def test_trace_and_explain_play_it(given, folder):
    """Model commands take the program from the option or from the scenario's key."""
    traced = cellstep("trace", *given, "--format", "csv", "--from", "0", "--to", "60", cwd=folder)
    assert 0 == traced.returncode, traced.stderr
    explained = cellstep("explain", *given, "--around", "read:2", cwd=folder)
    assert 0 == explained.returncode, explained.stderr
    assert "read 2" in explained.stdout


@pytest.mark.parametrize("given", [["named.yaml"], ["bare.yaml", "--programs", "mine.py"]])
def test_vectors_hold_its_accesses(given, folder):
    """The vectors have a write of sync_word and every read of the program."""
    done = cellstep("vectors", *given, "--out", "v", cwd=folder)
    assert 0 == done.returncode, done.stderr
    text = (folder / "v" / "changes.csv").read_text()
    assert 1 == text.count(",write,sync_word,")
    assert 40 < text.count(",read,status,")


@pytest.mark.share(2)
@pytest.mark.parametrize("live", [[], ["--live"]])
def test_run_plays_it_and_says_how_to_again(live, folder):
    """A run takes the program, live too; what reproduces a mismatch names the file."""
    if "icarus" not in available():
        pytest.skip("needs icarus")
    defect = next(d for d in load_defects() if d.name == "sync_latched_until_read")
    apply(defect, REFERENCE, folder / "core")
    options = ["--sim", "icarus", "--programs", "mine.py", "--out", "out", *live]
    done = cellstep("run", "core/binding.yaml", "--suite", "bare.yaml", *options, cwd=folder)
    assert 1 == done.returncode, done.stderr
    (run,) = json.loads((folder / "out" / "result.json").read_text())["runs"]
    assert "--programs mine.py" in run["reproduce"]
    assert "sync_equal" == run["first_mismatch"]["field"]
    if not live:
        told = cellstep("explain", "out", "--around", "mismatch:1", cwd=folder)
        assert 0 == told.returncode, told.stderr


def test_program_that_raises_is_told_with_its_own_line(folder):
    """A program that fails while it runs is reported with the line of the user's file."""
    line = PROGRAM.splitlines().index('            raise KeyError("mine")') + 1
    done = cellstep("trace", "raises.yaml", cwd=folder)
    assert 2 == done.returncode
    assert f"mine.py:{line}: KeyError" in done.stderr


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("x = 1\ny = x +\n", "bad.py:2: cannot be run: SyntaxError"),
        ("x = 1\n\nz = x / 0\n", "bad.py:3: cannot be run: ZeroDivisionError"),
        ("x = 1\n", "holds no generator function"),
    ],
)
def test_file_that_cannot_be_run_is_told_with_its_line(text, told, folder):
    """A file with a mistake is reported at the scenario's key, with the mistake's own line."""
    (folder / "bad.py").write_text(text)
    (folder / "bad.yaml").write_text(SCENARIO % ("programs: [bad.py]", 20))
    done = cellstep("trace", "bad.yaml", cwd=folder)
    assert 2 == done.returncode
    assert "bad.yaml:5:12: programs" in done.stderr
    assert told in done.stderr


@pytest.mark.parametrize("name", ["../mine.py", "none.py", "/etc/hostname"])
def test_file_must_lie_in_the_scenarios_folder(name, folder):
    """A scenario names files of its own folder only; others are for the command line."""
    (folder / "deep").mkdir()
    (folder / "deep" / "far.yaml").write_text(SCENARIO % (f"programs: [{name}]", 20))
    done = cellstep("trace", "deep/far.yaml", cwd=folder)
    assert 2 == done.returncode
    assert "far.yaml:5:12: programs" in done.stderr
    assert "--programs" in done.stderr or "no such file" in done.stderr


def test_two_scenarios_may_call_different_programs_alike(folder):
    """Each scenario gets the program of its own file, whatever other files call theirs."""
    (folder / "other.py").write_text(PROGRAM.replace("0x4489", "0x5555"))
    (folder / "other.yaml").write_text(SCENARIO % ("programs: [other.py]", 20))
    for n, (name, word) in enumerate((("named", 4489), ("other", 5555), ("named", 4489))):
        done = cellstep("vectors", f"{name}.yaml", "--out", f"v{n}", cwd=folder)
        assert 0 == done.returncode, done.stderr
        text = (folder / f"v{n}" / "changes.csv").read_text()
        assert f",write,sync_word,0xFFFF,0x{word}," in text
