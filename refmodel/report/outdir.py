"""The folder of results: files are written beside the old ones and renamed when all are whole."""

from __future__ import annotations

import io
import re
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import IO

from rich.console import Console

from refmodel.ground.errors import UserError
from refmodel.report.atomic import Write
from refmodel.report.junit import to_junit
from refmodel.report.mismatch_vcd import write_mismatch
from refmodel.report.page.render import report_page
from refmodel.report.result import RunResult, SuiteResult
from refmodel.report.result_json import to_json
from refmodel.report.terminal import show_all

TEXT_WIDTH = 100
WAVES = "mismatch-*.vcd"


class ResultFolder:
    """Takes the results of one command. Enter it before anything runs: it finds out if it can.

    Until `write` has put every file in place, whatever the folder held stays as it was.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._made: list[Path] = []

    def __enter__(self) -> ResultFolder:
        """Make the folder, and one inside it for what is not whole yet; UserError if it cannot."""
        self._made = [p for p in (self._folder, *self._folder.parents) if not p.exists()]
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            self._new = Path(tempfile.mkdtemp(prefix=".new-", dir=self._folder))
        except OSError as error:
            raise UserError(f"--out {self._folder}: cannot be written: {error.strerror}") from None
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Remove what is not whole, and the folders that were made for nothing."""
        shutil.rmtree(self._new, ignore_errors=True)
        for folder in self._made:
            if not folder.is_dir() or any(folder.iterdir()):
                break
            folder.rmdir()

    def write(self, suites: Sequence[SuiteResult]) -> None:
        """Write every file, then put all in place of the old ones."""
        names = []
        for name, write in _files(suites):
            with (self._new / name).open("w", encoding="utf-8", newline="\n") as file:
                write(file)
            names.append(name)
        for name in names:
            (self._new / name).replace(self._folder / name)
        for stale in set(self._folder.glob(WAVES)) - {self._folder / name for name in names}:
            stale.unlink()


def _files(suites: Sequence[SuiteResult]) -> Iterator[tuple[str, Write]]:
    """Yield the name of each result file and what writes it."""
    yield "result.json", lambda file: _text(file, to_json(suites))
    yield "junit.xml", lambda file: _text(file, to_junit(suites))
    yield "report.txt", lambda file: _text(file, to_text(suites))
    yield "report.html", lambda file: _text(file, report_page(suites))
    taken: list[str] = []
    for suite, run in ((s, run) for s in suites for run in s.runs):
        if run.outcome.finding is not None:
            name = _waves_name(run)
            taken.append(name)
            number = taken.count(name)  # of several bindings, each has its own
            yield f"{name}-{number}.vcd" if number > 1 else f"{name}.vcd", _waves(suite, run)


def to_text(suites: Sequence[SuiteResult]) -> str:
    """Return the terminal's report as plain text."""
    file = io.StringIO()
    show_all(Console(file=file, width=TEXT_WIDTH, color_system=None, force_terminal=False), suites)
    return file.getvalue()


def _text(file: IO[str], text: str) -> None:
    file.write(text)


def _waves(suite: SuiteResult, run: RunResult) -> Write:
    finding = run.outcome.finding
    assert finding is not None
    return lambda file: write_mismatch(file, finding, suite.scope)


def _waves_name(run: RunResult) -> str:
    """Return the name of a run's waves, whatever its scenario is called."""
    scenario = re.sub(r"[^\w.-]", "_", run.outcome.scenario)
    return f"mismatch-{scenario}-{run.outcome.simulator}"
