"""Reads what Verilator has counted of a core's source: which branches ran, which bits changed."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from refmodel.ground.errors import CannotRun
from refmodel.hunt.source import BRANCH, CHANGE, Point, SourceCounts

_ROW = re.compile(r"^C '(.*)' (\d+)$")
_KEY = re.compile("\x01([^\x02]*)\x02([^\x01]*)")
WAYS = {"0->1": "rises", "1->0": "falls"}


def read_counts(path: Path, sources: Sequence[Path]) -> SourceCounts:
    """Return the counts in a file that Verilator left, of some sources; instances add up.

    Raises CannotRun where there is none, or it has other rows.
    """
    wanted = {str(source.resolve()) for source in sources}
    found: Counter[Point] = Counter()
    try:
        rows = path.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError as error:
        raise CannotRun(f"Verilator wrote no coverage data: {error}") from None
    for row in rows:
        if row.startswith("#") or not row:
            continue
        parts = _ROW.match(row)
        if parts is None:
            raise CannotRun(f"cannot read Verilator's coverage data, row {row[:80]!r}")
        keys = dict(_KEY.findall(parts[1]))
        if str(Path(keys["f"]).resolve()) in wanted:
            found[_point(keys)] += int(parts[2])
    return SourceCounts(found)


def _point(keys: dict[str, str]) -> Point:
    """Return the point of a row."""
    place = keys["f"], int(keys["l"])
    name = keys.get("o", "")
    if not keys["page"].startswith("v_toggle"):
        return Point(*place, BRANCH, name, int(keys.get("n", 0)))
    bit, _, way = name.rpartition(":")
    return Point(*place, CHANGE, f"{bit} {WAYS[way]}" if way in WAYS else name)
