"""`cellstep history` says how runs went on, and which was the first bad one."""

import pytest
from command import cellstep
from formed import formed

from refmodel.report.history import History
from refmodel.report.trend import HistoryForm, first_bad


@pytest.fixture
def path(tmp_path):
    """Return a history: good, good, bad, unfinished, bad for one core, good for another."""
    path = tmp_path / "runs.sqlite"
    history = History(path, pytest.fail)
    for verdict in ("agree", "agree", "mismatch", "", "mismatch"):
        run = history.begin("hunt", str(tmp_path / "a.yaml"), "icarus", 1)
        history.add(run, 40, 9000, {"bit read 0 idle": 3})
        if verdict:
            history.end(run, verdict, 2.0, summary="data breaks B4" if verdict != "agree" else "")
    run = history.begin("mutate", str(tmp_path / "b.yaml"), "verilator", 1)
    history.end(run, "agree", 90.0, score=98.5)
    history.close()
    return path


def test_first_bad_run_is_named(path, tmp_path):
    """It is the third, behind the second, which was good; one that was killed decides nothing."""
    done = cellstep("history", tmp_path / "a.yaml", "--history", path)
    assert 0 == done.returncode
    assert "first bad run: 3, " in done.stdout
    assert "(data breaks B4); run 2 of " in done.stdout
    assert "unfinished" in done.stdout
    assert "b.yaml" not in done.stdout


def test_mended_core_is_good(path, tmp_path):
    """What is good again has no first bad run."""
    history = History(path, pytest.fail)
    history.end(history.begin("hunt", str(tmp_path / "a.yaml"), "icarus", 1), "agree", 1.0)
    assert first_bad(history.runs(str(tmp_path / "a.yaml"))) is None


def test_json_and_page(path, tmp_path):
    """Both have all runs; the environment can name the file."""
    page = tmp_path / "history.html"
    env = {"CELLSTEP_HISTORY": str(path)}
    done = cellstep("history", "--json", "--out", page, env=env)
    runs = formed(HistoryForm, done.stdout)["runs"]
    assert [1, 2, 3, 4, 5, 6] == [run["number"] for run in runs]
    assert [None, 98.5] == [run["score"] for run in runs[-2:]]
    text = page.read_text()
    assert "98.5 %" in text
    assert text.count("≠ mismatch") == 2


def test_histories_are_merged(path, tmp_path):
    """Runs of two machines come together in one file, each once, with all that belongs to them."""
    other = History(tmp_path / "other.sqlite", pytest.fail)
    run = other.begin("hunt", str(tmp_path / "a.yaml"), "verilator", 1000)
    other.add(run, 40, 9000, {"bit read 0 idle": 4})
    other.fail(run, 1003, "data breaks B4 (status)", "[4]")
    other.end(run, "mismatch", 1.0)
    other.close()
    words = ["--history", tmp_path / "all.sqlite", "--merge", path]
    words += ["--merge", tmp_path / "other.sqlite"]
    for added in ("6 runs added", "0 runs added"):
        done = cellstep("history", *words)
        assert 0 == done.returncode
        assert added in done.stderr
    merged = History(tmp_path / "all.sqlite", pytest.fail)
    assert 7 == len(merged.runs())
    assert {"bit read 0 idle": 5 * 3 + 4} == merged.met(str(tmp_path / "a.yaml"))
    assert ["[4]"] == merged.known(str(tmp_path / "a.yaml"))


@pytest.mark.parametrize(
    ("words", "told"),
    [([], "--history FILE is missing"), (["--history", "nothing.sqlite"], "no such file")],
)
def test_bad_input(words, told, tmp_path):
    """What cannot be is said in one line, with exit status 2."""
    done = cellstep("history", *words, cwd=tmp_path)
    assert 2 == done.returncode
    assert told in done.stderr
