"""The files of a run: what is in the folder of its results."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Mapping, Sequence
from hashlib import sha256

from rich.console import Console

from refmodel.report.atomic import Write
from refmodel.report.junit import to_junit
from refmodel.report.kept import KEPT, to_kept
from refmodel.report.mismatch_vcd import write_mismatch
from refmodel.report.page.render import report_page
from refmodel.report.result import WAVES, RunResult, SuiteResult
from refmodel.report.result_json import to_json
from refmodel.report.terminal import show_all
from refmodel.report.whole_folder import Content, WholeFolder

TEXT_WIDTH = 100
TOOLS = "tools.txt"
LONGEST_NAME = 100  # characters of a scenario's name in that of its waves


class ResultFolder(WholeFolder):
    """The folder of results of a run."""

    def write(
        self, suites: Sequence[SuiteResult], lessons: Mapping[str, str] | None = None
    ) -> list[str]:
        """Write every file, then put all in place of the old ones; return their names."""
        return self.put(result_files(suites, lessons), stale=WAVES)


def result_files(
    suites: Sequence[SuiteResult], lessons: Mapping[str, str] | None = None
) -> Iterator[tuple[str, Content]]:
    """Yield the name of each result file and what is in it.

    `lessons` has the pages of lessons by name, for the report to link to.
    """
    lessons = lessons or {}
    yield from ((f"lesson-{name}.html", page) for name, page in lessons.items())
    yield "result.json", to_json(suites)
    yield "junit.xml", to_junit(suites)
    yield "report.txt", to_text(suites)
    yield "report.html", report_page(suites, lessons)
    if any(suite.scope.what == "core" for suite in suites):
        yield KEPT, to_kept(suites)
    if any(suite.warnings or suite.printed for suite in suites):
        yield TOOLS, to_tools(suites)
    taken: list[str] = []
    for suite, run in ((s, run) for s in suites for run in s.runs):
        if run.outcome.finding is not None:
            name = _waves_name(run)
            taken.append(name)
            number = taken.count(name)  # of several bindings, each has its own
            name = f"{name}-{number}" if number > 1 else name
            yield f"{name}.vcd", _waves(suite, run)
            if run.outcome.signals:
                yield f"{name}.signals.vcd", run.outcome.signals


def to_tools(suites: Sequence[SuiteResult]) -> str:
    """Return what the tools said of the cores' files, and what the cores printed themselves."""
    lines = []
    for suite in suites:
        lines += [f"{w.file}:{w.line}: {w.kind}: {w.text} ({w.tool})" for w in suite.warnings]
        for name, printed in suite.printed.items():
            lines += [f"{suite.scope.binding} on {name} prints:", *(f"  {p}" for p in printed)]
    return "".join(f"{line}\n" for line in lines)


def to_text(suites: Sequence[SuiteResult]) -> str:
    """Return the terminal's report as plain text."""
    file = io.StringIO()
    show_all(Console(file=file, width=TEXT_WIDTH, color_system=None, force_terminal=False), suites)
    return file.getvalue()


def _waves(suite: SuiteResult, run: RunResult) -> Write:
    finding = run.outcome.finding
    assert finding is not None
    return lambda file: write_mismatch(file, finding, suite.scope)


def _waves_name(run: RunResult) -> str:
    """Return the name of a run's waves, whatever its scenario is called, and however long."""
    scenario = re.sub(r"[^A-Za-z0-9_.-]", "_", run.outcome.scenario)
    if len(scenario) > LONGEST_NAME:
        mark = sha256(run.outcome.scenario.encode(errors="replace")).hexdigest()[:8]
        scenario = f"{scenario[:LONGEST_NAME]}-{mark}"
    return f"mismatch-{scenario}-{run.outcome.simulator}"
