"""What the runs in a history show together: how they went on, and the first that was bad."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict

from typing_extensions import TypedDict

from refmodel.report.history import UNFINISHED, Recorded
from refmodel.report.numbers import counted, grouped
from refmodel.report.page.summary import PageTable, summary_page

AGREE = "agree"
HEADS = (
    "run",
    "began",
    "command",
    "simulator",
    "seed",
    "verdict",
    "cases",
    "cycles",
    "score",
    "met",
)


def by_binding(runs: Sequence[Recorded]) -> dict[str, list[Recorded]]:
    """Return runs grouped by their binding, in the order of the first of each."""
    found: dict[str, list[Recorded]] = {}
    for run in runs:
        found.setdefault(run.binding, []).append(run)
    return found


def first_bad(runs: Sequence[Recorded]) -> tuple[Recorded, Recorded | None] | None:
    """Return the run that has been bad since, and the last good one before it.

    None when the last finished run is good, or none has finished.
    """
    bad: Recorded | None = None
    good: Recorded | None = None
    for run in runs:
        if run.verdict == UNFINISHED:
            continue
        if run.verdict == AGREE:
            bad, good = None, run
        elif bad is None:
            bad = run
    return (bad, good) if bad is not None else None


def lines(runs: Sequence[Recorded], last: int) -> Iterator[str]:
    """Yield the last runs of each binding as a table, and since when it has been bad."""
    for binding, own in by_binding(runs).items():
        yield f"{binding}: {counted(len(own), 'run')}"
        rows = [HEADS, *(_row(run) for run in own[-last:])]
        widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
        for row in rows:
            cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
            yield f"  {'  '.join(cells)}".rstrip()
        yield f"  {_since(own)}"
        yield ""


def _since(runs: Sequence[Recorded]) -> str:
    """Say since which run a binding has been bad."""
    found = first_bad(runs)
    if found is None:
        finished = [run for run in runs if run.verdict != UNFINISHED]
        return f"good as of run {finished[-1].number}" if finished else "no run has finished"
    bad, good = found
    before = f"run {good.number} of {good.began} was good" if good else "none was good before"
    return f"first bad run: {bad.number}, {bad.began} ({bad.summary or bad.verdict}); {before}"


def _row(run: Recorded) -> tuple[str, ...]:
    score = "" if run.score is None else f"{run.score:.1f} %"
    return (
        str(run.number),
        run.began,
        run.command,
        run.simulator,
        str(run.seed),
        run.verdict,
        grouped(run.cases),
        grouped(run.cycles),
        score,
        grouped(run.met),
    )


class HistoryForm(TypedDict):
    """The runs of a history."""

    runs: list[Recorded]
    """Each run, in the order in which they began."""


def to_json(runs: Sequence[Recorded]) -> str:
    """Return runs as JSON text."""
    return json.dumps({"runs": [asdict(run) for run in runs]}, indent=1) + "\n"


def page(runs: Sequence[Recorded]) -> str:
    """Return the page of a history: all runs, and since when each binding has been bad."""
    rows = [
        (binding, *cells[:5], _marked(cells[5]), *cells[6:])
        for binding, own in by_binding(runs).items()
        for cells in map(_row, own)
    ]
    table = PageTable("All runs", ("binding", *HEADS), rows)
    notes = [(binding, [("now", _since(own))]) for binding, own in by_binding(runs).items()]
    return summary_page("History", f"{counted(len(runs), 'run')} recorded.", table, notes)


def _marked(verdict: str) -> str:
    return verdict if verdict in (AGREE, UNFINISHED) else f"≠ {verdict}"
