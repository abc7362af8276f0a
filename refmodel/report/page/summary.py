"""A page that sums up many runs in one table, with notes and figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from refmodel.report.page.render import Figure, render


@dataclass(frozen=True)
class PageTable:
    """A table of texts; a cell that begins with the sign of inequality is one that is wrong."""

    caption: str
    heads: Sequence[str]
    rows: Sequence[Sequence[str]]


def summary_page(
    title: str,
    lead: str,
    table: PageTable,
    notes: Sequence[tuple[str, Sequence[tuple[str, str]]]] = (),
    figures: Sequence[Figure] = (),
) -> str:
    """Return the page: a title, a sentence, the table, then notes and figures."""
    return render(
        "summary.html.j2", (), {}, title=title, lead=lead, table=table, notes=notes, figures=figures
    )
