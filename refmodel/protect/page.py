"""The page of a verdict matrix: a row a check and disk, a column a runner."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from refmodel.protect.matrix import Cell, Matrix
from refmodel.protect.text import summary, wrong_details
from refmodel.report.page.summary import PageTable, summary_page

MOST_TOLD = 20  # wrong cells in words


def matrix_page(matrix: Matrix) -> str:
    """Return the page of a verdict matrix: a row a check and disk, a column a runner."""
    heads = ("check", "disk", "must be", *matrix.runners)
    wrong = [(f"{c.case.name} on {c.runner}", list(wrong_details(c))) for c in matrix.wrong]
    return summary_page(
        "Protection checks",
        f"{matrix.binding}, profile {matrix.profile}: {summary(matrix)}.",
        PageTable("Verdicts over all hosts, drive speeds and seeds", heads, list(_rows(matrix))),
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
