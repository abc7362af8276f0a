"""A page that sums up many runs in one table, with notes and figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from refmodel.report.page.render import render


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
    drawings: Sequence[str] = (),
    accent: str = "",
    verdict: str = "",
) -> str:
    """Return the page: a title, a sentence, drawings as SVG, the table, then notes.

    `accent` is what is wrong, in a line; `verdict` stands in the title of the tab.
    """
    return render(
        "summary.html.j2",
        (),
        {},
        title=title,
        lead=lead,
        table=table,
        notes=notes,
        drawings=[Markup(drawn) for drawn in drawings],
        accent=accent,
        verdict=verdict,
    )
