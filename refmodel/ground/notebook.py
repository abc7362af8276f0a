"""How model objects show themselves in a notebook: a small table each, a run as its drawing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from importlib import import_module

MOST_ROWS = 12
DRAWER = "refmodel.report.page.notebook"  # stands floors above, and is loaded by a notebook only


def drawn(thing: object) -> str:
    """Return a run's results or a finding as HTML with its drawing."""
    html: str = import_module(DRAWER).html(thing)
    return html


def table(heads: Iterable[str], rows: Sequence[tuple[str, ...]]) -> str:
    """Return an HTML table of the first rows, and how many more there are."""
    body = "".join(_row("td", row) for row in rows[:MOST_ROWS])
    more = len(rows) - MOST_ROWS
    rest = f"<caption>and {more} more</caption>" if more > 0 else ""
    return f"<table>{rest}<thead>{_row('th', heads)}</thead><tbody>{body}</tbody></table>"


def _row(kind: str, cells: Iterable[str]) -> str:
    return "<tr>" + "".join(f"<{kind}>{escape(cell)}</{kind}>" for cell in cells) + "</tr>"
