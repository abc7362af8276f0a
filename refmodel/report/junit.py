"""junit.xml: one test case a run, as CI viewers show it."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence

from refmodel.report import words
from refmodel.report.result import (
    ERROR,
    MISMATCH,
    SKIPPED,
    UNDECIDED,
    RunResult,
    SuiteResult,
)

NO_XML = re.compile(r"[^\t\n\r\x20-\uD7FF\uE000-\uFFFD\U00010000-\U0010FFFF]")


def to_junit(suites: Sequence[SuiteResult]) -> str:
    """Return the results as JUnit XML, a suite of cases for each core and simulator.

    No times are in it, so that the same results give the same text.
    """
    root = ET.Element("testsuites", name="cellstep")
    for suite in suites:
        for simulator in suite.simulators:
            runs = [run for run in suite.runs if run.outcome.simulator == simulator]
            _add_suite(root, suite, simulator, runs)
    _count(root, [run for suite in suites for run in suite.runs])
    ET.indent(root)
    text: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return text.decode() + "\n"


def _add_suite(
    root: ET.Element, suite: SuiteResult, simulator: str, runs: Sequence[RunResult]
) -> None:
    """Add the runs of one core on one simulator."""
    name = clean(f"{suite.scope.binding} {simulator}")
    element = ET.SubElement(root, "testsuite", name=name)
    _count(element, runs)
    for run in runs:
        case = ET.SubElement(element, "testcase", classname=name, name=clean(run.outcome.scenario))
        _add_outcome(case, suite, run)


def _add_outcome(case: ET.Element, suite: SuiteResult, run: RunResult) -> None:
    """Add what keeps a case from passing, if anything does."""
    outcome, finding = run.outcome, run.outcome.finding
    if outcome.verdict == SKIPPED:
        ET.SubElement(case, "skipped", message=clean(outcome.note))
    elif outcome.verdict in (ERROR, UNDECIDED):
        first, _, _ = outcome.note.partition("\n")
        error = ET.SubElement(case, "error", message=clean(first), type=outcome.verdict)
        error.text = clean(outcome.note)
    elif finding is not None:
        message = words.headline(finding, suite.scope.profile.status)
        failure = ET.SubElement(case, "failure", message=clean(message), type="mismatch")
        facts = [f"{label:<9} {text}" for label, text in words.details(suite, run)]
        failure.text = clean("\n".join([message, *facts, *outcome.note.splitlines()]))
    elif outcome.verdict == MISMATCH:
        first, _, _ = outcome.note.partition("\n")
        failure = ET.SubElement(case, "failure", message=clean(first), type="mismatch")
        failure.text = clean(outcome.note)


def _count(element: ET.Element, runs: Sequence[RunResult]) -> None:
    """Set the counts every viewer expects."""
    verdicts = [run.outcome.verdict for run in runs]
    element.set("tests", str(len(verdicts)))
    for name, verdict in (("failures", MISMATCH), ("errors", ERROR), ("skipped", SKIPPED)):
        count = verdicts.count(verdict) + (verdicts.count(UNDECIDED) if verdict == ERROR else 0)
        element.set(name, str(count))


def clean(text: str) -> str:
    """Return a text without the characters XML has no form for."""
    return NO_XML.sub("?", text)
