"""The page of a margin sweep: its table, and its plots drawn in."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from refmodel.margin.plot import TITLES
from refmodel.margin.result import MarginResult
from refmodel.margin.table import limit_rows
from refmodel.report.page.render import Figure
from refmodel.report.page.summary import PageTable, summary_page


def margin_page(result: MarginResult, plots: Sequence[tuple[str, bytes]]) -> str:
    """Return the page of a margin sweep: its table, and its plots drawn in."""
    figures = [Figure(TITLES[Path(name).stem], content, "svg+xml") for name, content in plots]
    heads = ("limit", *(subject.name for subject in result.subjects))
    return summary_page(
        "Margins of data separators",
        f"Profile {result.profile}, seed {result.seed}.",
        PageTable("What each separator survives", heads, limit_rows(result)),
        figures=figures,
    )
