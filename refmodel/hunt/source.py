"""What of a core's source ran in a hunt, line by line, and which bits changed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from refmodel.ground.numbers import counted
from refmodel.hunt.form import SourceRow

MOST_SHOWN = 10  # lines of a kind in the terminal; the JSON has all
BRANCH, CHANGE = "branch", "change"


class Point(NamedTuple):
    """What is counted: a branch that begins at a line, or a change of a bit declared there."""

    file: str
    line: int
    kind: str
    name: str  # of the branch, such as `else`; or the bit, and which way it changes
    column: int = 0


class SourceCounts:
    """How often each point of the source came. Counts of runs apart add up with `+=`."""

    def __init__(self, counts: Counter[Point] | None = None) -> None:
        self.counts: Counter[Point] = Counter(counts or {})

    def __iadd__(self, other: SourceCounts) -> SourceCounts:
        for point, count in other.counts.items():  # with those that never came
            self.counts[point] += count
        return self

    def __bool__(self) -> bool:
        return bool(self.counts)

    def never(self, kind: str) -> list[Point]:
        """Return the points of a kind that never came, in order of the source."""
        return sorted(p for p, count in self.counts.items() if p.kind == kind and not count)

    def total(self, kind: str) -> int:
        """Return how many points of a kind there are."""
        return sum(point.kind == kind for point in self.counts)

    def lines(self) -> Iterator[str]:
        """Yield what never ran and what never changed, by line of the source."""
        for kind, said in (
            (BRANCH, "branches of the source ran"),
            (CHANGE, "changes of bits came"),
        ):
            never, total = self.never(kind), self.total(kind)
            yield f"{total - len(never)} of {total} {said}{'; never:' if never else ''}"
            by_line: dict[tuple[str, int], list[str]] = {}
            for point in never:
                by_line.setdefault((point.file, point.line), []).append(point.name)
            places = list(by_line.items())
            for (file, line), names in places[:MOST_SHOWN]:
                yield f"  {Path(file).name}:{line}  {_together(names)}: {_text(file, line)}"
            if len(places) > MOST_SHOWN:
                yield (
                    f"  and {counted(len(places) - MOST_SHOWN, 'more line')}, in"
                    " hunt.json with --out"
                )

    def as_data(self) -> list[SourceRow]:
        """Return a row for each point, in order of the source."""
        return [
            {
                "file": point.file,
                "line": point.line,
                "kind": point.kind,
                "name": point.name,
                "column": point.column,
                "count": count,
            }
            for point, count in sorted(self.counts.items())
        ]


def _together(names: list[str]) -> str:
    """Return names, the bits of one signal as one with how many changes of it never came."""
    signals = Counter(name.partition("[")[0].partition(" ")[0] for name in names)
    return ", ".join(f"{name} ({n})" if n > 1 else name for name, n in signals.items())


def _text(file: str, line: int) -> str:
    """Return a line of a source, empty if it cannot be read any more."""
    try:
        lines = Path(file).read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return ""
    return lines[line - 1].strip() if 0 < line <= len(lines) else ""
