"""The history stays whole when a run is killed, and takes two writers and a bad file."""

import os
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from refmodel.ground.errors import UserError
from refmodel.report.history import UNFINISHED, History

WRITER = """
import sys
from pathlib import Path
from refmodel.report.history import History
history = History(Path(sys.argv[1]), print)
for n in range(int(sys.argv[2])):
    seed = history.next_seed("/core/binding.yaml", "icarus")
    run = history.begin("hunt", "/core/binding.yaml", "icarus", seed)
    if n == 0:
        print("begun", flush=True)
    for part in range(5):
        history.add(run, 10, 1000, {"bit read 0 idle": 2, f"byte read {part} idle": 1})
    history.fail(run, 3, "data breaks B4 (status)", "[4]")
    history.end(run, "mismatch", 0.5, summary="data breaks B4")
"""


def writer(path, runs):
    """Start a process that records `runs` runs; return when the first has begun."""
    command = [sys.executable, "-c", WRITER, str(path), str(runs)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert "begun" in process.stdout.readline()
    return process


def whole(path):
    """Return what SQLite itself says of a file."""
    with sqlite3.connect(path) as file:
        return file.execute("pragma integrity_check").fetchone()[0]


def test_killed_twenty_times(tmp_path):
    """After each kill the file is whole, and the next run goes on behind the last."""
    path = tmp_path / "runs.sqlite"
    seen = 0
    for n in range(20):
        process = writer(path, 100_000)
        time.sleep(0.01 * (n % 5))
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        assert "ok" == whole(path)
        history = History(path, pytest.fail)
        runs = history.runs()
        history.close()
        assert len(runs) >= seen
        seen = len(runs)
        assert all(run.cycles == 100 * run.cases for run in runs)
        ended = [run for run in runs if run.verdict != UNFINISHED]
        assert all((50, 6) == (run.cases, run.met) for run in ended)
    assert seen >= 20


def test_two_writers(tmp_path):
    """Two runs at once lose nothing."""
    path = tmp_path / "runs.sqlite"
    processes = [writer(path, 20) for _ in range(2)]
    assert [0, 0] == [process.wait(60) for process in processes]
    history = History(path, pytest.fail)
    runs = history.runs()
    assert {(50, 5000, "mismatch")} == {(run.cases, run.cycles, run.verdict) for run in runs}
    assert 40 == len(runs)
    assert 400 == history.met("/core/binding.yaml")["bit read 0 idle"]
    assert 1 + max(run.seed + 49 for run in runs) == history.next_seed(
        "/core/binding.yaml", "icarus"
    )


@pytest.mark.parametrize(
    "garbage", [b"no database at all" * 99, b"SQLite format 3\0" + b"\xff" * 5000]
)
def test_corrupt_file_is_kept(tmp_path, garbage):
    """It lies beside the new one under another name, and that is said."""
    path = tmp_path / "runs.sqlite"
    path.write_bytes(garbage)
    told = []
    history = History(path, told.append)
    assert 1 == history.begin("hunt", "binding.yaml", "icarus", 1)
    (line,) = told
    kept = tmp_path / "runs.sqlite.bad-1"
    assert str(kept) in line
    assert garbage == kept.read_bytes()


@pytest.mark.parametrize("kind", ["binding.yaml", "core.v", "folder", "device"])
def test_a_file_that_was_never_a_history_is_left_alone(tmp_path, kind):
    """A file of another kind is refused, and stays what it is and where it is."""
    path = Path("/dev/null") if kind == "device" else tmp_path / kind
    if kind == "folder":
        path.mkdir()
    elif kind != "device":
        path.write_text("core: {top: x}\n")
    with pytest.raises(UserError, match=r"is another kind of file|is not a plain file"):
        History(path, pytest.fail)
    assert [path] * (kind != "device") == list(tmp_path.iterdir())


def test_corrupt_in_the_middle_is_kept(tmp_path):
    """A file with a page that was overwritten is found out when it is opened."""
    path = tmp_path / "runs.sqlite"
    history = History(path, pytest.fail)
    for _ in range(200):
        history.begin("hunt", "binding.yaml" * 9, "icarus", 1)
    history.close()
    data = bytearray(path.read_bytes())
    data[8192:12288] = b"\xa5" * 4096
    path.write_bytes(data)
    told = []
    history = History(path, told.append)
    assert [] == history.runs()
    assert "a new one begins" in told[0]


def test_full_disk_is_said_once(tmp_path):
    """The run goes on, and what was written before stays."""
    told = []
    history = History(tmp_path / "runs.sqlite", told.append)
    run = history.begin("hunt", "binding.yaml", "icarus", 1)
    history._file.execute("pragma max_page_count=1")  # as if there were no room for another page
    for n in range(3):
        history.add(run, 1, 1, {f"meeting {m}": n + 1 for m in range(3000)})
    (line,) = told
    assert "full" in line
    assert "the run goes on without it" in line
    assert 0 == history.runs()[0].cases


def test_no_place_for_it(tmp_path):
    """A folder, or a file of a later form, is refused with the reason."""
    with pytest.raises(UserError, match="--history"):
        History(tmp_path, print)
    path = tmp_path / "later.sqlite"
    with sqlite3.connect(path) as file:
        file.execute("pragma user_version=99")
    with pytest.raises(UserError, match="another version"):
        History(path, print)


@pytest.mark.parametrize(
    "change",
    [
        "update runs set binding = cast(x'2ff5ff' as text)",
        "update runs set verdict = x'00'",
        "update runs set seconds = 'long'",
        "update failures set kind = cast(x'f5' as text)",
        "update coverage set meeting = cast(x'62f5' as text) where meeting like 'bit%'",
    ],
)
def test_damage_that_sqlite_overlooks_is_kept_aside(change, tmp_path):
    """Text that is not UTF-8, or a value of another kind: the file is set aside."""
    path = tmp_path / "runs.sqlite"
    assert 0 == writer(path, 1).wait(60)
    with sqlite3.connect(path) as file:
        file.execute(change)
    file.close()
    told = []
    history = History(path, told.append)
    assert [] == history.runs()
    history.close()
    (line,) = told
    assert f"it is kept as {path}.bad-1, a new one begins" in line


def test_schema_that_is_damaged_is_kept_aside(tmp_path):
    """So is one with a byte changed in its list of tables."""
    path = tmp_path / "runs.sqlite"
    assert 0 == writer(path, 1).wait(60)
    sqlite3.connect(path).execute("pragma wal_checkpoint(truncate)").fetchall()
    content = path.read_bytes()
    place = content.index(b"CREATE TABLE")
    path.write_bytes(content[: place + 9] + b"\xf5" + content[place + 10 :])
    told = []
    History(path, told.append).close()
    (line,) = told
    assert "a new one begins" in line
