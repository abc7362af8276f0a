"""The history: every recorded run in one SQLite file, whole whenever a run is killed.

A run is written when it begins, after each part of it, and when it ends; each of these is one
transaction, in write-ahead mode. So a run that was killed stays as far as it came, and two runs may
write at once. What goes wrong with the file never ends a run: it is said, and the run goes on.
"""

from __future__ import annotations

import os
import sqlite3
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from refmodel import __version__
from refmodel.ground.errors import UserError

PATIENCE = 30.0  # seconds to wait for another writer
MAGIC = b"SQLite format 3\0"  # as each file of its kind begins
UNFINISHED = "unfinished"  # as a run is until it ends
FORM = 1  # of the tables
_TABLES = """
create table if not exists runs (
  id integer primary key, began text not null, command text not null, binding text not null,
  simulator text not null, seed integer not null, verdict text not null, version text not null,
  cases integer not null default 0, cycles integer not null default 0,
  seconds real not null default 0, score real, told text not null default '');
create table if not exists failures (
  run integer not null references runs, seed integer not null, kind text not null,
  case_text text not null);
create table if not exists coverage (
  run integer not null references runs, meeting text not null, count integer not null,
  primary key (run, meeting));
create index if not exists runs_of_binding on runs (binding, simulator);
"""
_KINDS: Mapping[str, type | tuple[type, ...]] = {  # of each column of a run
    **dict.fromkeys(("began", "command", "binding", "simulator", "verdict", "told"), str),
    **dict.fromkeys(("seed", "cases", "cycles"), int),
    "seconds": (int, float),
    "score": (int, float, type(None)),
}
Say = Callable[[str], None]


@dataclass(frozen=True)
class Recorded:
    """A run as the history has it."""

    number: int
    """Its number, counted from 1."""
    began: str
    """When it began, as an ISO 8601 time."""
    command: str
    """Which command it was."""
    binding: str
    """The binding's path."""
    simulator: str
    """The simulator."""
    seed: int
    """Its first seed."""
    verdict: str
    """How it ended; unfinished if it has not."""
    cases: int
    """Cases or scenarios played."""
    cycles: int
    """Cycles compared."""
    seconds: float
    """How long it took."""
    score: float | None
    """Percent of the mutants that were killed; null for other commands."""
    summary: str
    """What it found, in words; may be empty."""
    met: int
    """How many kinds of meeting on one edge it counted."""


def refuse_other_files(path: Path, option: str = "--history") -> None:
    """Raise UserError for a file that has never been a history: it is somebody's.

    Also for one that cannot be read, so that no run is lost for want of a place to record it.
    """
    if not os.path.lexists(path):
        return
    if not path.is_file():
        raise UserError(f"{option} {path}: is not a plain file; give a new name")
    try:
        with path.open("rb") as file:
            begins = file.read(len(MAGIC))
    except OSError as error:
        raise UserError(f"{option} {path}: cannot be read: {error.strerror}") from None
    if not (MAGIC.startswith(begins) or path.suffix in (".sqlite", ".sqlite3", ".db")):
        raise UserError(f"{option} {path}: is another kind of file; give a new name")


class History:
    """One file of runs; made if it is not there. `say` is told what is wrong with the file.

    A file that is no longer a history is kept under another name, and a new one begun. Raises
    UserError for one that cannot be opened or made at all.
    """

    def __init__(self, path: Path, say: Say) -> None:
        self.path = path
        self._say = say
        self._lost = False
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            refuse_other_files(path)
            self._file = self._opened()
        except sqlite3.OperationalError as error:
            raise UserError(f"--history {path}: {error}") from None
        except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
            self._set_aside(error)
            self._file = self._opened()
        except OSError as error:
            raise UserError(f"--history {path}: {error.strerror}") from None

    def close(self) -> None:
        """Close the file."""
        with suppress(sqlite3.Error):
            self._file.close()

    def _opened(self) -> sqlite3.Connection:
        """Open the file and look whether it is whole; raise sqlite3's error if it is not."""
        file = sqlite3.connect(
            self.path, timeout=PATIENCE, isolation_level=None, check_same_thread=False
        )
        try:
            (state,) = file.execute("pragma quick_check").fetchone()
            if state != "ok":
                raise sqlite3.DatabaseError(state)
            (form,) = file.execute("pragma user_version").fetchone()
            if form not in (0, FORM):
                raise UserError(
                    f"--history {self.path}: is of another version of Cellstep (form {form}, not "
                    f"{FORM}); give another file"
                )
            file.execute("pragma journal_mode=wal")
            file.executescript(f"begin immediate; {_TABLES} pragma user_version={FORM}; commit;")
            _read_whole(file)
        except BaseException:
            file.close()
            raise
        return file

    def _set_aside(self, error: Exception) -> None:
        """Give a file that cannot be read another name, and say so."""
        number = 1
        while (kept := self.path.with_name(f"{self.path.name}.bad-{number}")).exists():
            number += 1
        for end in ("-wal", "-shm"):
            with suppress(OSError):
                Path(f"{self.path}{end}").rename(f"{kept}{end}")
        self.path.rename(kept)
        self._say(f"{self.path}: cannot be read ({error}); it is kept as {kept}, a new one begins")

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """Write in one transaction; what goes wrong is said once, and the run goes on."""
        try:
            self._file.execute("begin immediate")
            yield self._file
            self._file.execute("commit")
        except sqlite3.Error as error:
            with suppress(sqlite3.Error):
                self._file.execute("rollback")
            if not self._lost:
                self._say(f"{self.path}: not written: {error}; the run goes on without it")
            self._lost = True

    def begin(self, command: str, binding: str, simulator: str, seed: int) -> int:
        """Note that a run begins; return its number, 0 if it could not be noted."""
        now = datetime.now().astimezone().isoformat(timespec="seconds")
        row = (now, command, binding, simulator, seed, UNFINISHED, __version__)
        columns = "began, command, binding, simulator, seed, verdict, version"
        added: list[int | None] = []
        with self._writing() as file:
            done = file.execute(f"insert into runs ({columns}) values (?, ?, ?, ?, ?, ?, ?)", row)
            added.append(done.lastrowid)
        return (added[0] or 0) if added else 0

    def add(self, run: int, cases: int, cycles: int, met: Mapping[str, int]) -> None:
        """Add what a part of a run has played, and what met in it."""
        with self._writing() as file:
            file.execute(
                "update runs set cases = cases + ?, cycles = cycles + ? where id = ?",
                (cases, cycles, run),
            )
            file.executemany(
                "insert into coverage values (?, ?, ?)"
                " on conflict do update set count = count + excluded.count",
                [(run, meeting, count) for meeting, count in met.items()],
            )

    def fail(self, run: int, seed: int, kind: str, case_text: str) -> None:
        """Add a failure: its kind in words, and the case that shows it as JSON."""
        with self._writing() as file:
            file.execute("insert into failures values (?, ?, ?, ?)", (run, seed, kind, case_text))

    def end(
        self, run: int, verdict: str, seconds: float, score: float | None = None, summary: str = ""
    ) -> None:
        """Note how a run has ended."""
        with self._writing() as file:
            file.execute(
                "update runs set verdict = ?, seconds = ?, score = ?, told = ? where id = ?",
                (verdict, seconds, score, summary, run),
            )

    def merge(self, other: History) -> int:
        """Add the runs of another history that are not here yet; return how many that were."""
        same = ("began", "command", "binding", "simulator", "seed")
        known = {tuple(getattr(run, name) for name in same) for run in self.runs()}
        added = 0
        for run in other.runs():
            if tuple(getattr(run, name) for name in same) not in known:
                with self._writing() as file:
                    self._copy(file, other, run.number)
                added += 1
        return added

    def _copy(self, file: sqlite3.Connection, other: History, number: int) -> None:
        """Copy one run of another history, with all that belongs to it."""
        columns = (
            "began, command, binding, simulator, seed, verdict, version, cases, cycles, seconds,"
            " score, told"
        )
        (row,) = other._file.execute(f"select {columns} from runs where id = ?", (number,))
        marks = ", ".join("?" * len(row))
        new = file.execute(f"insert into runs ({columns}) values ({marks})", row).lastrowid
        for table, own in (("failures", "seed, kind, case_text"), ("coverage", "meeting, count")):
            rows = other._file.execute(f"select {own} from {table} where run = ?", (number,))
            marks = ", ".join("?" * (own.count(",") + 2))
            file.executemany(
                f"insert into {table} (run, {own}) values ({marks})",
                [(new, *values) for values in rows],
            )

    def runs(self, binding: str = "") -> list[Recorded]:
        """Return the runs of one binding, or all, in the order in which they began."""
        rows = self._file.execute(
            "select id, began, command, binding, simulator, seed, verdict, cases, cycles, seconds,"
            " score, told, (select count(*) from coverage where run = runs.id) from runs"
            " where binding = ? or ? = '' order by id",
            (binding, binding),
        )
        return [Recorded(*row) for row in rows]

    def next_seed(self, binding: str, simulator: str) -> int:
        """Return the first seed that no hunt of a binding has played on a simulator; at least 1."""
        (found,) = self._file.execute(
            "select max(seed + cases) from runs where binding = ? and simulator = ?"
            " and command = 'hunt'",
            (binding, simulator),
        ).fetchone()
        return max(1, found or 1)

    def known(self, binding: str) -> list[str]:
        """Return the cases that have failed, the latest of each kind, as JSON."""
        rows = self._file.execute(
            "select case_text, max(failures.rowid) from failures join runs on run = runs.id"
            " where binding = ? group by kind order by 2",
            (binding,),
        )
        return [text for text, _ in rows]

    def met(self, binding: str) -> dict[str, int]:
        """Return how often each kind of meeting came in all runs of a binding."""
        rows = self._file.execute(
            "select meeting, sum(count) from coverage join runs on run = runs.id"
            " where binding = ? group by meeting",
            (binding,),
        )
        return dict(rows.fetchall())


def _read_whole(file: sqlite3.Connection) -> None:
    """Read every row: SQLite's own check does not look at texts and at the kinds of values.

    Raises sqlite3.DatabaseError for a value of another kind than its column, or UnicodeDecodeError.
    """
    try:
        for values in file.execute(f"select {', '.join(_KINDS)} from runs"):
            for (name, kinds), value in zip(_KINDS.items(), values, strict=True):
                if not isinstance(value, kinds):
                    raise sqlite3.DatabaseError(f"{name} of a run is {value!r}")
        for table in ("failures", "coverage"):
            deque(file.execute(f"select * from {table}"), maxlen=0)
    except sqlite3.OperationalError as error:
        if "decode" in str(error):
            raise sqlite3.DatabaseError(str(error)) from None
        raise
