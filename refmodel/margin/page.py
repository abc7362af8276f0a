"""The page of a margin sweep: its table, and its plots drawn in."""

from __future__ import annotations

from collections.abc import Sequence

from refmodel.margin.result import MarginResult
from refmodel.margin.table import limit_rows
from refmodel.report.page.summary import PageTable, summary_page


def margin_page(result: MarginResult, plots: Sequence[str]) -> str:
    """Return the page of a margin sweep: its table, and its plots drawn in."""
    heads = ("limit", *(subject.name for subject in result.subjects))
    return summary_page(
        "Margins of data separators",
        f"Profile {result.profile}, seed {result.seed}. In a map each cell is one measurement:"
        " the darker, the more errors per pulse; the red line runs at 1 in 1000.",
        PageTable("What each separator survives", heads, limit_rows(result)),
        drawings=plots,
    )
