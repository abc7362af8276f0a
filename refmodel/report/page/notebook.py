"""Results, runs and findings in a notebook: what they say, and the drawing around the mismatch."""

from __future__ import annotations

from collections.abc import Iterator
from functools import singledispatch
from html import escape

from refmodel.engine.finding import Finding
from refmodel.ground.notebook import table
from refmodel.report import words
from refmodel.report.drawing.svg import svg
from refmodel.report.numbers import grouped, time_text
from refmodel.report.page.still import run_sheet
from refmodel.report.result import Outcome, RunResult, Scope, SuiteResult
from refmodel.report.terminal import heading, total

MOST_DRAWN = 2


@singledispatch
def html(thing: object) -> str:
    """Return HTML that needs nothing else: no script, no style, no file."""
    raise TypeError(f"nothing is drawn of {type(thing).__name__}")


@html.register
def _(suite: SuiteResult) -> str:
    groups = suite.mismatches[:MOST_DRAWN]
    findings = [runs[0].outcome.finding for runs in groups]
    drawn = [_finding(finding, suite.scope) for finding in findings if finding is not None]
    first = next((o for o in suite.outcomes if o.shown is not None), None)
    if not drawn and first is not None and first.shown is not None:
        drawn = [svg(run_sheet(first.shown, suite.scope))]
    text = f"<p><b>{escape(heading(suite))}</b></p>{_runs(suite.outcomes)}"
    return f"<div>{text}<p>{escape(total(suite))}</p>{''.join(drawn)}</div>"


@html.register
def _(run: RunResult) -> str:
    finding = run.outcome.finding
    drawn = html(finding) if finding is not None else ""
    return f"<div>{_runs([run.outcome])}<p><code>{escape(run.reproduce)}</code></p>{drawn}</div>"


@html.register
def _(finding: Finding) -> str:
    if finding.profile is None:
        return "<p>a finding whose profile is not known</p>"
    return _finding(finding, Scope("", "core", finding.profile, finding.lags))


def _finding(finding: Finding, scope: Scope) -> str:
    drawing = svg(run_sheet(finding.shown, scope, finding=finding))
    return f"{table(('first mismatch', ''), list(_facts(finding, scope)))}{drawing}"


def _facts(finding: Finding, scope: Scope) -> Iterator[tuple[str, str]]:
    layout = scope.profile.status
    yield "what", words.headline(finding, layout)
    yield "when", f"cycle {finding.mismatch.cycle}, {time_text(finding.time_ns)}"
    yield "where", finding.place
    yield "clause", finding.cause.clause
    yield "cause", words.cause_text(finding, layout)
    for n, line in enumerate(finding.lines[: words.NEAR_LINES]):
        yield "" if n else "lines", f"{words.near_path(line.file)}:{line.line}  {line.signal}"


def _runs(outcomes: list[Outcome]) -> str:
    rows = [
        (o.scenario, o.simulator, o.verdict, grouped(o.cycles), grouped(o.reads)) for o in outcomes
    ]
    return table(("scenario", "simulator", "verdict", "cycles", "reads"), rows)
