"""Clause by scenario: how often each was put to the test, and where it is broken."""

from __future__ import annotations

from dataclasses import dataclass

from refmodel.ground.clauses import CLAUSE_OF, CLAUSES
from refmodel.report.numbers import grouped
from refmodel.report.result import Outcome, SuiteResult

NEVER = "-"


@dataclass(frozen=True)
class ClauseRow:
    """One clause: its title and sentence, and a cell a scenario."""

    clause: str
    title: str
    says: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class ClauseTable:
    """Scenarios as columns, clauses as rows."""

    scenarios: tuple[str, ...]
    rows: tuple[ClauseRow, ...]


def clause_table(suite: SuiteResult) -> ClauseTable:
    """Return the table of a core's runs; of a clause that none of them compares there is no row."""
    runs: dict[str, list[Outcome]] = {}
    for outcome in suite.outcomes:
        if outcome.fields or outcome.finding is not None:
            runs.setdefault(outcome.scenario, []).append(outcome)
    rows = []
    for name, clause in CLAUSES.items():
        fields = {field for field, of in CLAUSE_OF.items() if of == name}
        cells = tuple(_cell(name, fields, outcomes) for outcomes in runs.values())
        compared = any(fields & set(o.fields) for outcomes in runs.values() for o in outcomes)
        if compared or any(cell != NEVER for cell in cells):
            rows.append(ClauseRow(name, clause.title, clause.says, cells))
    return ClauseTable(tuple(runs), tuple(rows))


def _cell(clause: str, fields: set[str], outcomes: list[Outcome]) -> str:
    """Return how many changes were compared in a scenario, on one simulator."""
    broken = sum(o.finding is not None and o.finding.cause.clause == clause for o in outcomes)
    most = max(
        sum(max(one.changes, one.read_changes) for n, one in o.fields.items() if n in fields)
        for o in outcomes
    )
    if broken:
        return f"≠ {grouped(most)}"
    return grouped(most) if most else NEVER
