"""The files of a margin sweep: JSON, CSV, plots and a page."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator

from refmodel.margin.page import margin_page
from refmodel.margin.plot import plots
from refmodel.margin.result import MarginResult


def margin_files(result: MarginResult) -> Iterator[tuple[str, bytes]]:
    """Yield name and content of each file of a sweep."""
    yield "margin.json", (json.dumps(result.as_json(), indent=1) + "\n").encode()
    yield "margin.csv", as_csv(result).encode()
    drawn = list(plots(result))
    yield from ((f"{name}.svg", content.encode()) for name, content in drawn)
    yield "margin.html", margin_page(result, [content for _, content in drawn]).encode()


def as_csv(result: MarginResult) -> str:
    """Return the error maps as CSV."""
    file = io.StringIO()
    csv.writer(file, lineterminator="\n").writerows(result.csv_rows())
    return file.getvalue()
