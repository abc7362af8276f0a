"""The page of a verdict matrix: a strip a measure, a row a check and disk, a column a runner."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from refmodel.protect.matrix import Cell, Matrix
from refmodel.protect.strips import strips
from refmodel.protect.text import others_alike, summary, wrong_alike, wrong_details
from refmodel.report.page.summary import PageTable, summary_page
from refmodel.report.result import verdict_of

MOST_TOLD = 20  # kinds of wrong cells in words


def matrix_page(matrix: Matrix) -> str:
    """Return the page of a verdict matrix."""
    heads = ("check", "disk", "must be", *matrix.runners)
    wrong = [
        (
            f"{alike[0].case.name} on {alike[0].runner}",
            [*wrong_details(alike[0]), *others_alike(alike)],
        )
        for alike in wrong_alike(matrix)
    ]
    return summary_page(
        "Every protection check right",
        f"{matrix.binding}, profile {matrix.profile}: {summary(matrix)}. Each strip is one measure:"
        " inside the bar a disk is accepted.",
        PageTable("Verdicts over all hosts, drive speeds and seeds", heads, list(_rows(matrix))),
        notes=wrong[:MOST_TOLD],
        drawings=list(strips(matrix)),
        accent=_accent(matrix),
        verdict=f"{verdict_of(matrix.exit_status)}: protection checks of {matrix.binding}",
    )


def _accent(matrix: Matrix) -> str:
    """Return what is wrong in a line; nothing where all is right."""
    wrong = wrong_alike(matrix)
    if not wrong:
        return "" if matrix.exit_status == 0 else summary(matrix)
    first = wrong[0][0]
    verdict = first.judgement.verdict if first.judgement else "no verdict"
    more = f", and {len(matrix.wrong) - 1} more" if len(matrix.wrong) > 1 else ""
    return f"{first.case.check.name}: {first.case.kind} {_past(verdict)}{more}"


def _past(verdict: str) -> str:
    return {"accept": "accepted", "refuse": "refused"}.get(verdict, verdict)


def _rows(matrix: Matrix) -> Iterator[list[str]]:
    for cells in matrix.rows:
        case = cells[0].case
        runners = [_summary([c for c in cells if c.runner == runner]) for runner in matrix.runners]
        yield [case.check.name, case.kind, case.wanted, *runners]


def _summary(cells: Sequence[Cell]) -> str:
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
