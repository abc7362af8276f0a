"""The files of a margin sweep: JSON, CSV and plots, put in place when all are whole."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator

from refmodel.margin.page import margin_page
from refmodel.margin.plot import plots
from refmodel.margin.result import MarginResult
from refmodel.report.whole_folder import WholeFolder


class MarginFolder(WholeFolder):
    """A folder of results that takes those of a margin sweep."""

    def __enter__(self) -> MarginFolder:
        """Make the folder, as any folder of results."""
        super().__enter__()
        return self

    def write_margin(self, result: MarginResult) -> list[str]:
        """Write every file, then put all in place of the old ones; return their names."""
        return self.put(_files(result))


def _files(result: MarginResult) -> Iterator[tuple[str, bytes]]:
    """Yield name and content of each file."""
    yield "margin.json", (json.dumps(result.as_json(), indent=1) + "\n").encode()
    yield "margin.csv", as_csv(result).encode()
    drawn = list(plots(result))
    yield from drawn
    pictures = [(name, content) for name, content in drawn if name.endswith(".svg")]
    yield "margin.html", margin_page(result, pictures).encode()


def as_csv(result: MarginResult) -> str:
    """Return the error maps as CSV."""
    file = io.StringIO()
    csv.writer(file, lineterminator="\n").writerows(result.csv_rows())
    return file.getvalue()
