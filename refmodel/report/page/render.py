"""The page of one or more cores' runs: report.html, whole in itself."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Collection, Iterator, Sequence
from importlib import resources
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from refmodel.engine.finding import Shown
from refmodel.engine.meetings import DISTANCES
from refmodel.ground.clauses import SEPARATOR, says
from refmodel.ground.lessons import LESSON_OF
from refmodel.report import words
from refmodel.report.clause_table import clause_table
from refmodel.report.drawing.svg import svg
from refmodel.report.met import table as met_table
from refmodel.report.numbers import grouped, time_text
from refmodel.report.page.encode import encode_revolution
from refmodel.report.page.fold import folded_pulses
from refmodel.report.page.picture import picture
from refmodel.report.page.still import flag_of, run_sheet
from refmodel.report.result import MISMATCH, SKIPPED, RunResult, Scope, SuiteResult
from refmodel.report.terminal import (
    amber_lines,
    field_lines,
    heading,
    scope_lines,
    separator_lines,
    total,
)

PACKAGE = resources.files("refmodel")
FOLDER = PACKAGE / "report" / "page"
MOST_MISMATCHES, MOST_DRAWN = 4, 2  # a page of many runs stays small; its table tells the others
VIEW = (
    *("decode.js", "pen.js", "draw.js", "readout.js", "steps.js", "raster.js"),
    "view.js",
)
SHEETS = ("report/drawing/drawing.css", "report/page/style.css")
MARKS = {"agree": "=", "mismatch": "≠", "error": "!", "skipped": "–", "undecided": "?"}


def render(template: str, scripts: Sequence[str], data: object, **values: Any) -> str:  # noqa: ANN401
    """Return a page from a template: its data, styles and scripts within, and no way to the net.

    Whatever stands in `values` and `data` is text: no markup in it is ever markup on the page.
    """
    script = "\n".join(_file(f"report/page/{name}") for name in ("first.js", *scripts))
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    environment = Environment(
        autoescape=True,
        loader=FileSystemLoader(str(FOLDER)),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(template).render(
        style=Markup("\n".join(map(_file, SHEETS))),
        script=Markup(script),
        policy=f"default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-{digest}';"
        " img-src data:",
        data=Markup(as_data(data)),
        grouped=grouped,
        marks=MARKS,
        **values,
    )


def as_data(data: object) -> str:
    """Return JSON that can stand in a script element: no character of it ends the element."""
    text = json.dumps(data, separators=(",", ":"))
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def _file(name: str) -> str:
    return PACKAGE.joinpath(name).read_text(encoding="utf-8")


def report_page(suites: Sequence[SuiteResult], lessons: Collection[str] = ()) -> str:
    """Return report.html: verdicts, the first mismatches in sentences, and the runs drawn.

    `lessons` are those whose pages are written beside it.
    """
    runs = list(_pictures(suites))
    return render(
        "report.html.j2",
        VIEW,
        {"runs": runs},
        suites=[_shown(suite) for suite in suites],
        runs=runs,
        still=_still(suites),
        folded=_folded(suites),
        lessons=LESSON_OF,
        written=lessons,
        left_out=sum(_drawable(run) for suite in suites for run in suite.runs) - len(runs),
    )


def _still(suites: Sequence[SuiteResult]) -> Markup | None:
    """Return the first drawing as it is printed, or read without script."""
    first = next(iter(_drawn(suites)), None)
    if first is None:
        return None
    suite, run, shown = first
    return Markup(svg(run_sheet(shown, suite.scope, finding=run.outcome.finding)))


def _folded(suites: Sequence[SuiteResult]) -> list[Markup]:
    """Return the pulses of each run drawn, where a core has a separator of its own."""
    charts = (folded_pulses(shown, suite.scope) for suite, _, shown in _drawn(suites))
    return [Markup(chart) for chart in charts if chart]


def _drawable(run: RunResult) -> bool:
    return run.outcome.shown is not None


def _drawn(suites: Sequence[SuiteResult]) -> Iterator[tuple[SuiteResult, RunResult, Shown]]:
    """Yield the runs drawn: those that mismatch first, then others, no scenario twice."""
    runs = [(suite, run) for suite in suites for run in suite.runs if _drawable(run)]
    runs.sort(key=lambda pair: pair[1].outcome.verdict != MISMATCH)
    taken: set[tuple[str, str]] = set()
    for suite, run in runs:
        outcome = run.outcome
        key = (suite.scope.binding, outcome.scenario)
        most = MOST_MISMATCHES if outcome.verdict == MISMATCH else MOST_DRAWN
        if key not in taken and len(taken) < most and outcome.shown is not None:
            taken.add(key)
            yield suite, run, outcome.shown


def _pictures(suites: Sequence[SuiteResult]) -> Iterator[dict[str, Any]]:
    """Yield the data of the runs drawn."""
    for suite, run, shown in _drawn(suites):
        outcome, finding = run.outcome, run.outcome.finding
        at = finding.mismatch.cycle if finding else None
        drawn = picture(shown, suite.scope, at)
        name = f"{outcome.scenario} on {outcome.simulator}: {outcome.verdict}"
        more = f" ({suite.scope.binding})" if len(suites) > 1 else ""
        yield drawn.data | {
            "name": name + more,
            "note": drawn.note,
            "at": at,
            "flag": flag_of(finding, suite.scope)._asdict() if finding else None,
            "revolutions": [encode_revolution(row) for row in outcome.revolutions],
        }


def _shown(suite: SuiteResult) -> dict[str, Any]:
    """Return what the page says of one core in words."""
    scope = suite.scope
    return {
        "core": scope.top,
        "heading": heading(suite),
        "verdict": suite.verdict,
        "total": total(suite),
        "profile": scope.profile.name,
        "policies": [
            (name, value, name in suite.policies)
            for name, value in scope.profile.policies.model_dump().items()
        ],
        "outcomes": suite.outcomes,
        "compared": lambda o: o.verdict not in (SKIPPED, "error"),
        "amber": list(amber_lines(suite))[1:],
        "clauses": clause_table(suite),
        "scope": [*separator_lines(suite), *field_lines(suite), "", *scope_lines(suite)],
        "findings": list(_findings(suite)),
        "distances": [f"{d:+d}" if d else "0" for d in DISTANCES],
        "met": list(met_table(suite)),
    }


def _findings(suite: SuiteResult) -> Iterator[dict[str, Any]]:
    """Yield each scenario's mismatch in sentences, and as its facts."""
    scope = suite.scope
    for runs in suite.mismatches:
        on = " and ".join(run.outcome.simulator for run in runs)
        yield {
            "title": f"{runs[0].outcome.scenario} on {on}",
            **_accent(runs[0], scope),
            "sentences": list(_sentences(suite, runs[0])),
            "facts": list(words.details(suite, runs[0])),
            "lines": list(_source_links(runs[0])),
        }


def _accent(run: RunResult, scope: Scope) -> dict[str, str]:
    """Return a mismatch in one line, with where it is and what its clause says."""
    finding, layout = run.outcome.finding, scope.profile.status
    assert finding is not None
    d, clause = finding.mismatch, finding.cause.clause
    core, model = words.observed_text(d, layout), words.expected_text(d, layout)
    said = f"{d.field} is {core}, model {model}, cycle {grouped(d.cycle)}, {clause}"
    if d.through == "read":
        said = f"a read of status: {said}"
    if d.through == SEPARATOR:
        said = f"{finding.cause.event}, by cycle {grouped(d.cycle)}"
    return {
        "accent": said,
        "where": f"{time_text(finding.time_ns)}, {finding.place}",
        "clause": f"{clause}: {says(clause)}." if says(clause) else "",
        "of_clause": clause,
    }


def _source_links(run: RunResult) -> Iterator[tuple[str, str]]:
    """Yield the lines of the core's source behind a mismatch, with the address of each file."""
    finding = run.outcome.finding
    for line in finding.lines if finding is not None else ():
        yield f"{words.near_path(line.file)}:{line.line} ({line.signal})", Path(line.file).as_uri()


def _sentences(suite: SuiteResult, run: RunResult) -> Iterator[str]:
    """Yield the mismatch as a person would tell it."""
    finding, layout = run.outcome.finding, suite.scope.profile.status
    assert finding is not None
    d = finding.mismatch
    when = time_text(finding.time_ns)
    said = words.headline(finding, layout)
    yield f"In cycle {d.cycle}, {when} after the start, {said}."
    yield f"Place on the disk: {finding.place}."
    clause = finding.cause.clause
    yield f"Clause {clause} says: {says(clause)}."
    yield f"In the model: {words.cause_text(finding, layout)}."
    if finding.accesses:
        yield f"The host's last access: {words.access_text(finding.accesses[-1], layout)}."
