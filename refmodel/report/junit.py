"""junit.xml: one test case a run or a verdict, as CI viewers show it."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

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


@dataclass(frozen=True, slots=True)
class JunitCase:
    """One test case: `ended` is None if it passed; `text` says the rest, its first line `message`.

    `type` is what viewers group failures and errors by.
    """

    name: str
    ended: Literal["failure", "error", "skipped"] | None = None
    message: str = ""
    text: str = ""
    type: str = ""


@dataclass(frozen=True, slots=True)
class JunitSuite:
    """The test cases of one core on one simulator."""

    name: str
    cases: Sequence[JunitCase]


def junit_xml(name: str, suites: Sequence[JunitSuite]) -> str:
    """Return test suites as JUnit XML.

    No times are in it, so that the same results give the same text.
    """
    root = ET.Element("testsuites", name=clean(name))
    for suite in suites:
        element = ET.SubElement(root, "testsuite", name=clean(suite.name))
        _count(element, suite.cases)
        for case in suite.cases:
            _add_case(element, suite, case)
    _count(root, [case for suite in suites for case in suite.cases])
    ET.indent(root)
    text: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return text.decode() + "\n"


def to_junit(suites: Sequence[SuiteResult]) -> str:
    """Return the results of runs as JUnit XML, a suite of cases for each core and simulator."""
    return junit_xml(
        "cellstep",
        [
            JunitSuite(
                f"{suite.scope.binding} {simulator}",
                [_case(suite, r) for r in suite.runs if r.outcome.simulator == simulator],
            )
            for suite in suites
            for simulator in suite.simulators
        ],
    )


def clean(text: str) -> str:
    """Return a text without the characters XML has no form for."""
    return NO_XML.sub("?", text)


def _case(suite: SuiteResult, run: RunResult) -> JunitCase:
    """Return a run as a test case: what keeps it from passing, if anything does."""
    outcome, finding = run.outcome, run.outcome.finding
    name, note = outcome.scenario, outcome.note
    first, _, _ = note.partition("\n")
    if outcome.verdict == SKIPPED:
        return JunitCase(name, "skipped", note)
    if outcome.verdict in (ERROR, UNDECIDED):
        return JunitCase(name, "error", first, note, outcome.verdict)
    if finding is not None:
        message = words.headline(finding, suite.scope.profile.status)
        facts = [f"{label:<9} {text}" for label, text in words.details(suite, run)]
        text = "\n".join([message, *facts, *note.splitlines()])
        return JunitCase(name, "failure", message, text, MISMATCH)
    if outcome.verdict == MISMATCH:
        return JunitCase(name, "failure", first, note, MISMATCH)
    return JunitCase(name)


def _add_case(element: ET.Element, suite: JunitSuite, case: JunitCase) -> None:
    """Add a test case and what keeps it from passing."""
    at = ET.SubElement(element, "testcase", classname=clean(suite.name), name=clean(case.name))
    if case.ended is None:
        return
    ended = ET.SubElement(at, case.ended, message=clean(case.message))
    if case.type:
        ended.set("type", case.type)
    if case.text:
        ended.text = clean(case.text)


def _count(element: ET.Element, cases: Sequence[JunitCase]) -> None:
    """Set the counts every viewer expects."""
    ends: list[str | None] = [case.ended for case in cases]
    element.set("tests", str(len(cases)))
    for name, ended in (("failures", "failure"), ("errors", "error"), ("skipped", "skipped")):
        element.set(name, str(ends.count(ended)))
