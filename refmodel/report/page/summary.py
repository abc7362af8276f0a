"""Pages that sum up many runs in one table: a verdict matrix, a margin sweep with its plots."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from refmodel.margin.result import MarginResult
from refmodel.protect.matrix import Cell, Matrix
from refmodel.report.margin_plot import TITLES
from refmodel.report.margin_table import limit_rows
from refmodel.report.page.render import Figure, render
from refmodel.report.protect_text import summary, wrong_details

MOST_TOLD = 20  # wrong cells in words


@dataclass(frozen=True)
class Table:
    """A table of texts; a cell that begins with the sign of inequality is one that is wrong."""

    caption: str
    heads: Sequence[str]
    rows: Sequence[Sequence[str]]


def matrix_page(matrix: Matrix) -> str:
    """Return the page of a verdict matrix: a row a check and disk, a column a runner."""
    heads = ("check", "disk", "must be", *matrix.runners)
    wrong = [(f"{c.case.name} on {c.runner}", list(wrong_details(c))) for c in matrix.wrong]
    return _page(
        "Protection checks",
        f"{matrix.binding}, profile {matrix.profile}: {summary(matrix)}.",
        Table("Verdicts over all hosts, drive speeds and seeds", heads, list(_rows(matrix))),
        notes=wrong[:MOST_TOLD],
    )


def _rows(matrix: Matrix) -> Iterator[list[str]]:
    for cells in matrix.rows:
        case = cells[0].case
        runners = [_told([c for c in cells if c.runner == runner]) for runner in matrix.runners]
        yield [case.check.name, case.kind, case.wanted, *runners]


def _told(cells: Sequence[Cell]) -> str:
    """Say how many of some cells came out right."""
    ran = [cell for cell in cells if not cell.skipped]
    if not ran:
        return "not run"
    right = sum(cell.right for cell in ran)
    return (
        f"{ran[0].case.wanted}, {right} of {len(ran)}"
        if right == len(ran)
        else (f"≠ {len(ran) - right} of {len(ran)} wrong")
    )


def margin_page(result: MarginResult, plots: Sequence[tuple[str, bytes]]) -> str:
    """Return the page of a margin sweep: its table, and its plots drawn in."""
    figures = [Figure(TITLES[Path(name).stem], content, "svg+xml") for name, content in plots]
    heads = ("limit", *(subject.name for subject in result.subjects))
    return _page(
        "Margins of data separators",
        f"Profile {result.profile}, seed {result.seed}.",
        Table("What each separator survives", heads, limit_rows(result)),
        figures=figures,
    )


def _page(
    title: str,
    lead: str,
    table: Table,
    notes: Sequence[tuple[str, Sequence[tuple[str, str]]]] = (),
    figures: Sequence[Figure] = (),
) -> str:
    return render(
        "summary.html.j2", (), {}, title=title, lead=lead, table=table, notes=notes, figures=figures
    )
