"""The page of one or more cores' runs: report.html, whole in itself."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from refmodel.ground.clauses import says
from refmodel.report import words
from refmodel.report.numbers import grouped
from refmodel.report.page.picture import picture
from refmodel.report.result import MISMATCH, SKIPPED, RunResult, SuiteResult
from refmodel.report.terminal import amber_lines, field_lines, heading, scope_lines, total

FOLDER = resources.files("refmodel.report.page")
MOST_MISMATCHES, MOST_DRAWN = 4, 2  # a page of many runs stays small; its table tells the others
VIEW = ("decode.js", "draw.js", "view.js")
MARKS = {"agree": "=", "mismatch": "≠", "error": "!", "skipped": "–", "undecided": "?"}


@dataclass(frozen=True)
class Figure:
    """A plot or a matrix made elsewhere, to stand in the page: a title and an SVG or PNG file."""

    title: str
    content: bytes
    form: str  # svg+xml or png

    @property
    def source(self) -> str:
        """The file as a data address: nothing in it runs or loads."""
        return f"data:image/{self.form};base64,{base64.b64encode(self.content).decode()}"


def render(template: str, scripts: Sequence[str], data: object, **values: Any) -> str:  # noqa: ANN401
    """Return a page from a template: its data, styles and scripts within, and no way to the net.

    Whatever stands in `values` and `data` is text: no markup in it is ever markup on the page.
    """
    script = "\n".join(_file(name) for name in scripts)
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    environment = Environment(
        autoescape=True,
        loader=FileSystemLoader(str(FOLDER)),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(template).render(
        style=Markup(_file("style.css")),
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
    return (FOLDER / name).read_text(encoding="utf-8")


def report_page(suites: Sequence[SuiteResult], figures: Sequence[Figure] = ()) -> str:
    """Return report.html: verdicts, the first mismatches in sentences, and the runs drawn."""
    runs = list(_pictures(suites))
    return render(
        "report.html.j2",
        VIEW,
        {"runs": runs},
        suites=[_told(suite) for suite in suites],
        runs=runs,
        left_out=sum(_drawable(run) for suite in suites for run in suite.runs) - len(runs),
        figures=figures,
    )


def _drawable(run: RunResult) -> bool:
    return run.outcome.shown is not None


def _pictures(suites: Sequence[SuiteResult]) -> Iterator[dict[str, Any]]:
    """Yield the runs drawn: those that mismatch first, then others, no scenario twice."""
    runs = [(suite, run) for suite in suites for run in suite.runs if _drawable(run)]
    runs.sort(key=lambda pair: pair[1].outcome.verdict != MISMATCH)
    taken: set[tuple[str, str]] = set()
    for suite, run in runs:
        outcome = run.outcome
        key = (suite.scope.binding, outcome.scenario)
        most = MOST_MISMATCHES if outcome.verdict == MISMATCH else MOST_DRAWN
        if key in taken or len(taken) >= most or outcome.shown is None:
            continue
        taken.add(key)
        finding = outcome.finding
        at = finding.mismatch.cycle if finding else None
        drawn = picture(outcome.shown, suite.scope, at)
        name = f"{outcome.scenario} on {outcome.simulator}: {outcome.verdict}"
        more = f" ({suite.scope.binding})" if len(suites) > 1 else ""
        yield drawn.data | {"name": name + more, "note": drawn.note, "at": at}


def _told(suite: SuiteResult) -> dict[str, Any]:
    """Return what the page says of one core in words."""
    scope = suite.scope
    return {
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
        "scope": [*field_lines(suite), "", *scope_lines(scope)],
        "findings": list(_findings(suite)),
    }


def _findings(suite: SuiteResult) -> Iterator[dict[str, Any]]:
    """Yield each scenario's mismatch in sentences, and as its facts."""
    for runs in suite.mismatches:
        on = " and ".join(run.outcome.simulator for run in runs)
        yield {
            "title": f"{runs[0].outcome.scenario} on {on}",
            "sentences": list(_sentences(suite, runs[0])),
            "facts": list(words.details(suite, runs[0])),
            "lines": list(_source_links(runs[0])),
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
    when = words.time_text(finding.time_ns)
    said = words.headline(finding, layout)
    yield f"In cycle {d.cycle}, {when} after the start, {said}."
    yield f"Place on the disk: {finding.place}."
    clause = finding.cause.clause
    yield f"Clause {clause} says: {says(clause)}."
    yield f"In the model: {words.cause_text(finding, layout)}."
    if finding.accesses:
        yield f"The host's last access: {words.access_text(finding.accesses[-1], layout)}."
